"""Where the print is on the flat face: colour, band and what is no print."""
