"""Plotly figures: strike map, bag chart, dispersion. Every series differs by marker or dash as well as by colour."""

# Okabe & Ito's colour-blind-safe set, by role. No colour ever stands for a lie angle or for upright or flat.
INK = "#222222"
BEFORE = "#0072B2"
AFTER = "#D55E00"
THIRD = "#009E73"
QUIET = "#8A8A8A"
TEMPLATE = "plotly_white"
