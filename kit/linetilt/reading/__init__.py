"""A photo of the face -> FaceMark, and many photos at once."""
