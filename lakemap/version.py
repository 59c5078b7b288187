"""The version of the package, read by the build and written into results."""

VERSION = "0.1.0"
