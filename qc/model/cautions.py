"""Short cautions that every report carries; they defer to local codes and licensed practice (H-1 to H-13)."""

from __future__ import annotations

CAUTIONS = (
    "A cutting stylus is hot: keep to the lathe's manual.",
    "Lacquer swarf catches fire easily and burns fast: keep to local fire codes.",
    "Lacquer is mostly nitrocellulose: store and discard it by local codes.",
    "Silver in ammonia can explode, nickel salts harm skin and lungs: leave plating to licensed practice.",
)
