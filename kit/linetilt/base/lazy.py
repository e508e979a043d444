"""Names that are imported when first used, so that a worker that only measures photos loads nothing else."""

import sys
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import Any


def lazy(
    package: str, names: Mapping[str, Sequence[str]], moved: Mapping[str, str] | None = None
) -> tuple[Callable[[str], Any], Callable[[], list[str]], list[str]]:
    """Return a package's ``__getattr__``, ``__dir__`` and ``__all__``.

    Parameters
    ----------
    package : str
        The package's ``__name__``.
    names : mapping
        Its public names by the module that defines them, named relative to the package (".pooling").
    moved : mapping, optional
        Names that were here in the last version, and the module that has them now; they work with a warning.

    Examples
    --------
    >>> find, _, names = lazy("linetilt.flight", {".air": ["Air"]})
    >>> names, find("Air").__name__
    (['Air'], 'Air')
    """
    where = {name: module for module, listed in names.items() for name in listed}
    moved = moved or {}

    def __getattr__(name: str) -> Any:
        if name in where:
            value = getattr(import_module(where[name], package), name)
        elif name in moved:
            import warnings

            public = f"linetilt.{moved[name].split('.')[1]}"
            warnings.warn(
                f"{package}.{name} has moved and will be gone in the next version: take it from {public}",
                DeprecationWarning,
                stacklevel=2,
            )
            return getattr(import_module(moved[name], package), name)
        else:
            try:
                value = import_module(f".{name}", package)
            except ModuleNotFoundError as error:
                if error.name != f"{package}.{name}":
                    raise
                raise AttributeError(f"module {package!r} has no attribute {name!r}") from None
        setattr(sys.modules[package], name, value)
        return value

    return __getattr__, lambda: sorted([*where, *moved]), sorted(where)
