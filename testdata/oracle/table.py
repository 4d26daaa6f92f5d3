"""Prints a table of values with the versions of the libraries that gave them.

Nine significant digits: more than any of the values is used with, and few
enough that another release of a library prints the same.
"""

import platform
from importlib import import_module


def show(modules, columns, rows):
    versions = [f"{m} {import_module(m).__version__}" for m in modules]
    print(f"# {', '.join(versions)}, python {platform.python_version()}")
    print(",".join(columns))
    for row in rows:
        print(",".join(v if isinstance(v, str) else f"{v:.9g}" for v in row))
