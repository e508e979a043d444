"""``python -m linetilt`` is the command ``linetilt``."""

from .app.command import main

if __name__ == "__main__":
    main()
