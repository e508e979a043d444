"""From the print to the lie: geometry, pooling of a bag."""
