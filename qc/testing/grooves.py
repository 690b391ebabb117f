"""The groove of samples in memory at one cut level, for tests of what a plugin derives from it."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from qc.groove.geometry.side import SideGeometry
from qc.groove.geometry.span import span_of
from qc.groove.level.groove_at import groove_at
from qc.groove.signal.programme import Programme
from qc.groove.signal.sector_envelopes import Sectors
from qc.model.cutting_chain import Chain
from qc.model.groove import Groove
from qc.model.track import Track
from qc.testing.drive import run_need


def groove_of(
    samples: NDArray[np.float64], rate: int, level_db: float = 0.0, chain: Chain | None = None,
    tracks: Sequence[tuple[float, float]] = (),
) -> Groove:  # fmt: skip
    """Return the groove that samples are cut to, as a `GrooveDerived` gets it.

    Parameters
    ----------
    samples
        (2, n), or mono as (n,) or (1, n), which is processed as dual mono. Full scale is 1.0.
    rate
        Frames a second.
    level_db
        Cut level.
    chain
        The assumed chain; by default that of a 12 in side at 33 1/3.
    tracks
        Starts and ends of declared tracks, in file seconds.
    """
    chain = chain or Chain()
    times = [(Fraction(str(start)), Fraction(str(end))) for start, end in tracks]
    programme = run_need(Programme.of(chain), samples, rate).declared(times)
    envelopes = run_need(Sectors.of(chain), samples, rate)
    declared = [Track(number, "", start, end) for number, (start, end) in enumerate(times, start=1)]
    side = SideGeometry.of(chain, span_of(declared, programme, envelopes.sectors), envelopes)
    return groove_at(side, level_db, programme)
