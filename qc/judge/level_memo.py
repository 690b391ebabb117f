"""What earlier runs found of a side at each level, given back from the store, so that another ruleset costs little."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

from qc.cache.keys import Sound
from qc.cache.store import Store
from qc.groove.geometry.memo import Kept, Known, contradicts
from qc.groove.signal.sector_envelopes import Sectors
from qc.model.cutting_chain import Chain
from qc.model.track import Track
from qc.plugin_api import Need


@dataclass(frozen=True)
class Remembered:
    """What is known of a side under one chain, and where it is kept; nowhere without a store, or an unsure sound."""

    known: Known
    store: Store | None = None
    sound: Sound | None = None
    sectors: Sectors | None = None
    on: Any = None
    """all that it hangs on besides the sound and the sectors: the chain, and the times of the tracks"""

    @classmethod
    def of(
        cls, store: Store | None, sound: Sound | None, sectors: Need[Any] | None, chain: Chain,
        tracks: Sequence[Track],
    ) -> Self:  # fmt: skip
        """Look up what the store has."""
        if store is None or sound is None or not isinstance(sectors, Sectors):
            return cls(Known())
        on = (chain, tuple((str(track.start), str(track.end), track.mark_after) for track in tracks))
        return cls(Known(store.recall(sound, sectors, on, Kept)), store, sound, sectors, on)

    def keep(self) -> None:
        """Store what is known, if that has become more."""
        if self.store is not None and self.sound is not None and self.sectors is not None and self.known.grown:
            self.store.note(self.sound, self.sectors, self.on, self.known.kept(), contradicts)
