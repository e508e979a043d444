"""No test and no notebook under test works in the book of whoever runs them."""

import os

os.environ.pop("LINETILT_BOOK", None)
