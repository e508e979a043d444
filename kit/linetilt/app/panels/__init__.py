"""Widgets for the notebooks, one file a notebook. They show what the kit computes, and hold no formulas."""
