"""The book: one SQLite file, its schema, and rescuing a damaged one."""
