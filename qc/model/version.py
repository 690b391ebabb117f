"""The version of the tool."""

VERSION = "0.1.0"
