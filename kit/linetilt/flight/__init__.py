"""From impact to landing: air, trajectory, dispersion, before and after."""
