"""What everything stands on: errors, checks of numbers, tables as typed, files, units, clubs."""
