"""Seeded generator of photographed faces that keeps its truth: head, ink, camera."""
