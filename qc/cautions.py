"""Short cautions that every report carries; they defer to local codes and licensed practice (H-1, H-3, H-7, H-13)."""

from __future__ import annotations

CAUTIONS = (
    (
        "A cutting stylus is hot and lacquer swarf catches fire very easily: keep to the lathe's own manual and to "
        "local fire codes."
    ),
    (
        "Silvering and nickel plating use solutions that can explode, corrode or harm health: leave them to licensed "
        "practice under local codes."
    ),
)
