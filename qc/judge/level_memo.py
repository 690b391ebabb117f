"""The numbers of a side at each level, kept in the store, so that a run with another ruleset costs little."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

from qc.cache.keys import Sound
from qc.cache.store import Store
from qc.groove.level.memo import LevelMemo, StoredMemo, contradicts
from qc.groove.signal.sector_envelopes import Sectors
from qc.model.cutting_chain import Chain
from qc.model.track import Track
from qc.plugin_base import Need


@dataclass(frozen=True)
class MemoInStore:
    """The memo of a side under one chain and its place in the store; none without a store or a sure digest of sound."""

    memo: LevelMemo
    store: Store | None = None
    sound: Sound | None = None
    sectors: Sectors | None = None
    key: Any = None
    """Cache key: all that the numbers depend on besides the sound and the sectors, the chain and the tracks' times."""

    @classmethod
    def of(
        cls, store: Store | None, sound: Sound | None, sectors: Need[Any] | None, chain: Chain,
        tracks: Sequence[Track],
    ) -> Self:  # fmt: skip
        """Read the memo from the store; an empty one where there is none."""
        if store is None or sound is None or not isinstance(sectors, Sectors):
            return cls(LevelMemo())
        key = (chain, tuple((str(track.start), str(track.end), track.mark_after) for track in tracks))
        return cls(LevelMemo(store.recall(sound, sectors, key, StoredMemo)), store, sound, sectors, key)

    def keep(self) -> None:
        """Store the memo where it has grown."""
        if self.store is not None and self.sound is not None and self.sectors is not None and self.memo.grown:
            self.store.note(self.sound, self.sectors, self.key, self.memo.stored(), contradicts)
