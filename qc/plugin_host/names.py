"""The names that plugins are found by, apart from the hooks, so that finding them imports no pluggy."""

from __future__ import annotations

PROJECT = "sidegate"
GROUP = "sidegate.plugins"
