"""The version, from the installed package's own record."""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("tapplan")
except PackageNotFoundError:  # run from a source tree that was never installed
    __version__ = "0+unknown"
