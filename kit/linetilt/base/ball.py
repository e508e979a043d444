"""The ball, as the rules of golf have it."""

BALL_RADIUS_MM = 42.67 / 2  # The Equipment Rules (The R&A and USGA), Part 4: diameter not less than 42.67 mm
