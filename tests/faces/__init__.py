"""Makers of invented club faces and ball prints for tests, benchmarks and the demo photos; dev only."""
