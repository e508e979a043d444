"""What leaves the bay: words, pictures, pages and tables."""
