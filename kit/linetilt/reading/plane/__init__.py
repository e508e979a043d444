"""Where the face is: its score lines, their points, and the camera's pose."""
