"""Before the hit: the strip to draw the line by, and the lean of the ball's line by photo."""
