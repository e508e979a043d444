"""What metal may move: the plan of bends, and the study of a gauge."""
