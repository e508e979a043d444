"""The middle: what a session's facts say, and what to do next; intake, clinic and practice."""
