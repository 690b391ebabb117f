"""A reference model of the groove: whole arrays, exact analogue responses, plain numpy.

It shares no code with the package that it checks. A file is transformed in one piece, multiplied by the
analogue responses themselves, and read on a grid of 352.8 or 384 kHz. It holds nine such traces in memory at
once, about 1.5 GB a minute, so it is for signals of a minute or two.

SI units throughout, field units (um, mm, cm/s, g, dB) only in what `measure` returns.

Signs: `d` is the displacement of a wall along its normal; left is the inner wall, right the outer (L-1).
lateral = (L + R)/sqrt2, positive outward; vertical = (L - R)/sqrt2, positive up, out of the disc.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

F64: TypeAlias = NDArray[np.float64]
C128: TypeAlias = NDArray[np.complex128]
Envelopes: TypeAlias = dict[str, F64]
Track: TypeAlias = tuple[float, float, bool]  # start s, end s, a mark after it
Gap: TypeAlias = tuple[int, int]  # first sector of a mark and first after it, from the file's frame 0
Span: TypeAlias = tuple[int, int]  # first sector of the side and first after it, likewise
Polarity: TypeAlias = Literal["normal", "inverted"]
Judged: TypeAlias = Literal["normal", "inverted", "worst"]
AtLevels: TypeAlias = "Callable[[int], Mapping[str, float]]"  # all measurements, by the level in tenths of a dB

SQRT2 = math.sqrt(2.0)
STANDARD_GRAVITY = 9.80665  # m/s2 in a g
SECTORS_A_SECOND = 75  # a sector is one CUE frame
GRID = {44100: 8, 48000: 8, 88200: 4, 96000: 4, 176400: 2, 192000: 2}  # points a frame: 352.8 or 384 kHz
TOP_FALL_HZ, TOP_STOP_DB = (
    4_100.0,
    72.0,
)  # the top falls from 20 to 24.1 kHz, and is designed for so many dB from there on
PADDING_S = 1.0  # the slowest response here, 10 Hz, has died away by e**-44, which no double has room for

ENVELOPES = (
    "d_max",
    "d_min",
    "vertical_max",
    "vertical_min",
    "lateral_max",
    "lateral_min",
    "lateral_v_abs",
    "vertical_v_abs",
    "v_abs",
    "a_abs",
    "a_square",
    "sibilance_a",
    "low_vertical_abs",
)


@dataclass(frozen=True)
class Chain:
    """The values of a chain in SI units; the defaults are those of a 12 in side at 33 1/3.

    A filter whose value is 0 is left out.
    """

    subsonic_hz: float = 10.0  # practice
    top_hz: float = 20000.0  # practice
    cutter_pole_s: float = 0.0  # EQ-6
    bass_mono_hz: float = 0.0  # C-13
    align_dbfs: float = -18.0  # practice; peak of a sine
    reference_velocity: float = 0.05  # L-5; m/s, peak, lateral
    polarity: Judged = "worst"  # L-2
    top_width: float = 56e-6  # G-10; of the unmodulated groove
    land: float = 13e-6  # V-7
    depth: Literal["variable", "fixed"] = "variable"  # practice
    keep_width: float = 30e-6  # practice
    nominal_depth: float = 75e-6  # practice
    preview_turn: float = 0.5  # V-1
    max_pitch: float = 500e-6  # practice
    outer_diameter: float = 0.2926  # D-5
    finishing_diameter: float = 0.1064  # D-9
    mark_width: float = 1e-3  # D-24
    tip_radius: float = 8e-6  # G-15
    back_angle_deg: float = 45.0  # C-1
    rpm: float = 100.0 / 3.0  # D-12

    @property
    def sectors_a_turn(self) -> int:
        """N: 135 at 33 1/3, 100 at 45."""
        return round(60.0 * SECTORS_A_SECOND / self.rpm)

    @property
    def preview_sectors(self) -> int:
        """K: how far ahead the carriage and the depth are told of the programme, at most N - 1."""
        ahead = math.floor(self.preview_turn * self.sectors_a_turn + 0.5)
        if not 0 <= ahead < self.sectors_a_turn:
            raise ValueError(f"a preview of {self.preview_turn} turn is not below one turn")
        return ahead


# -- from samples to wall motion ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Motion:
    """What the two walls do, for 1 m/s at 0 dBFS, from the file's first frame to the end of its last.

    `d` (m), `v` (m/s), `a` (m/s2), `sibilance_a` (m/s2, 5 to 12 kHz) are (2, points), left and right wall;
    `low_vertical` (m, below 300 Hz) is (points,). `rate` is the grid's, `sector` its points a sector.
    """

    rate: int
    sector: int
    d: F64
    v: F64
    a: F64
    sibilance_a: F64
    low_vertical: F64


def replay_characteristic(hz: F64) -> C128:
    """EQ-3, 1 at zero frequency: complex, one value a frequency."""
    s = 2j * np.pi * hz
    response: C128 = (1.0 + 318e-6 * s) / ((1.0 + 3180e-6 * s) * (1.0 + 75e-6 * s))
    return response


def recording_characteristic(hz: F64) -> C128:
    """G(f): the inverse of EQ-3 with EQ-3's own phase reversed, magnitude 1 at 1 kHz."""
    at_1k = np.abs(replay_characteristic(np.array([1000.0])))[0]  # EQ-8
    response: C128 = at_1k / replay_characteristic(hz)
    return response


def butterworth(hz: F64, corner_hz: float, order: int, kind: Literal["low", "high"]) -> C128:
    """An analogue Butterworth filter with its own causal phase: complex, one value a frequency."""
    p = 1j * hz / corner_hz
    response = np.ones(len(hz), dtype=np.complex128)
    for k in range(order):
        pole = np.exp(1j * np.pi * (2 * k + order + 1) / (2 * order))
        # low-pass 1/(p - pole); the high-pass is the same in 1/p: p/(1 - pole p)
        response *= 1.0 / (p - pole) if kind == "low" else p / (1.0 - pole * p)
    return response


def top_response(hz: F64, top_hz: float, rate: int) -> F64:
    """1 up to the top, 0 from `TOP_FALL_HZ` above it; between them the sinc under a window by Kaiser's formulae.

    Its taps are those at 88.2 or 96 kHz, whichever is in step with the file's rate; its ripple, 0.003 dB, is left out.
    """
    at = 88_200.0 if rate % 11_025 == 0 else 96_000.0
    reach = math.ceil((TOP_STOP_DB - 7.95) / (2.285 * 2.0 * math.pi * TOP_FALL_HZ / at) / 2.0)  # taps on either side
    n = np.arange(1, reach + 1)
    middle_hz = top_hz + TOP_FALL_HZ / 2.0
    window = np.i0(0.1102 * (TOP_STOP_DB - 8.7) * np.sqrt(1.0 - (n / reach) ** 2)) / np.i0(0.1102 * (TOP_STOP_DB - 8.7))
    taps = np.sin(2.0 * math.pi * middle_hz / at * n) / (math.pi * n) * window
    centre = 2.0 * middle_hz / at
    response = (hz <= top_hz).astype(np.float64)
    falls = (hz > top_hz) & (hz < top_hz + TOP_FALL_HZ)
    turns = 2.0 * math.pi * hz[falls] / at
    total = centre + 2.0 * sum(tap * np.cos(k * turns) for k, tap in zip(n, taps, strict=True))
    response[falls] = total / (centre + 2.0 * taps.sum())
    return response


def _transform_length(least: int) -> int:
    """Find the smallest even number from `least` on with no prime factor above 5, which transforms fast."""
    length = least + least % 2
    while True:
        rest = length
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return length
        length += 2


def motion(x: F64, rate: int, chain: Chain) -> Motion:
    """Work out how the walls move for 1 m/s at 0 dBFS.

    Parameters
    ----------
    x
        (2, frames) samples, left and right, 1.0 is 0 dBFS.
    rate
        One of the six rates, Hz.
    chain
        Only its signal part (subsonic, top, cutter pole, bass mono) is used here.
    """
    if x.ndim != 2 or x.shape[0] != 2 or x.shape[1] == 0:
        raise ValueError(f"two channels of at least one frame are needed, not an array of {x.shape}")
    grow = GRID[rate]
    frames = x.shape[1]
    padded = _transform_length(frames + math.ceil(PADDING_S * rate))
    spectrum = np.fft.rfft(x, padded)
    spectrum[:, -1] *= 0.5  # half of the bin at half the rate belongs to the negative frequency
    hz: F64 = np.fft.rfftfreq(padded, 1.0 / rate).astype(np.float64)
    passed = hz < chain.top_hz + TOP_FALL_HZ  # the rest is exactly 0
    spectrum, hz = spectrum[:, passed], hz[passed]
    s: C128 = (2j * np.pi * hz).astype(np.complex128)

    if chain.bass_mono_hz > 0.0:  # C-13: first order, on the difference alone
        half_sum = 0.5 * (spectrum[0] + spectrum[1])
        half_difference = 0.5 * (spectrum[0] - spectrum[1]) * butterworth(hz, chain.bass_mono_hz, 1, "high")
        spectrum = np.stack([half_sum + half_difference, half_sum - half_difference])

    response: C128 = recording_characteristic(hz) * top_response(hz, chain.top_hz, rate)  # EQ-3
    if chain.subsonic_hz > 0.0:
        response *= butterworth(hz, chain.subsonic_hz, 2, "high")
    if chain.cutter_pole_s > 0.0:
        response /= 1.0 + s * chain.cutter_pole_s  # EQ-6
    velocity = spectrum * response * grow  # the longer inverse transform divides by as much more

    integral = np.zeros(len(hz), dtype=np.complex128)  # a constant has no place in a displacement
    integral[1:] = 1.0 / s[1:]
    below_300 = butterworth(hz, 300.0, 4, "low")
    sibilance = butterworth(hz, 5000.0, 4, "high") * butterworth(hz, 12000.0, 4, "low")  # C-11

    scratch = np.empty(padded * grow)

    def trace(bins: C128, into: F64) -> F64:
        into[:] = np.fft.irfft(bins, len(scratch), out=scratch)[: len(into)]
        return into

    def walls(factor: C128) -> F64:
        both = np.empty((2, frames * grow))
        for wall in (0, 1):
            trace(velocity[wall] * factor, both[wall])
        return both

    lift = (velocity[0] - velocity[1]) / SQRT2 * integral
    return Motion(
        rate=rate * grow,
        sector=rate * grow // SECTORS_A_SECOND,
        d=walls(integral),
        v=walls(np.ones(len(hz), dtype=np.complex128)),
        a=walls(s),
        sibilance_a=walls(s * sibilance),
        low_vertical=trace(lift * below_300, np.empty(frames * grow)),
    )


# -- what is kept of each sector ---------------------------------------------------------------------------


def extremes(y: F64, sector: int) -> tuple[F64, F64]:
    """Greatest and least value of the band-limited signal in each sector.

    Between grid points the signal is read off the parabola through each turning point and its two neighbours:
    within 0.04 % at 20 kHz on a grid of 352.8 kHz.

    Parameters
    ----------
    y
        (points,) one trace.
    sector
        Points a sector; the last sector may have fewer.

    Returns
    -------
        Greatest and least, (sectors,) each.
    """
    sectors = math.ceil(len(y) / sector)
    greatest, least = np.empty(sectors), np.empty(sectors)
    for i in range(sectors):
        start, stop = i * sector, min((i + 1) * sector, len(y))
        values = y[start:stop]
        greatest[i], least[i] = values.max(), values.min()
        around = y[max(start - 1, 0) : min(stop + 1, len(y))]
        step = np.diff(around)
        way = np.sign(step)
        turn = np.flatnonzero(way[:-1] != way[1:])
        if len(turn):
            rise, fall = step[turn], -step[turn + 1]
            vertex = around[turn + 1] + (rise - fall) ** 2 / (8.0 * (rise + fall))
            greatest[i] = max(greatest[i], vertex.max())
            least[i] = min(least[i], vertex.min())
    return greatest, least


def mean_square(y: F64, sector: int) -> F64:
    """Mean of y**2 in each sector, (sectors,); a part-sector's is the mean over the part there is."""
    starts = np.arange(0, len(y), sector)
    held = np.minimum(starts + sector, len(y)) - starts
    mean: F64 = np.add.reduceat(y * y, starts) / held
    return mean


def _greatest_abs(y: F64, sector: int) -> F64:
    greatest, least = extremes(y, sector)
    either: F64 = np.maximum(greatest, -least)
    return either


def envelopes(moved: Motion) -> Envelopes:
    """Reduce the motion to what is kept of each sector, for 1 m/s at 0 dBFS, from the file's frame 0.

    Returns
    -------
        By name (`ENVELOPES`). Left and right wall, (2, sectors): `d_max`, `d_min` (m), `v_abs` (m/s),
        `a_abs`, `sibilance_a` (m/s2), `a_square` (m2/s4, a mean). Of the groove, (sectors,): `vertical_max`,
        `vertical_min`, `lateral_max`, `lateral_min`, `low_vertical_abs` (m), `lateral_v_abs` and
        `vertical_v_abs` (m/s).
    """
    sector = moved.sector
    d = [extremes(wall, sector) for wall in moved.d]
    vertical = extremes((moved.d[0] - moved.d[1]) / SQRT2, sector)
    lateral = extremes((moved.d[0] + moved.d[1]) / SQRT2, sector)
    return {
        "d_max": np.stack([greatest for greatest, _ in d]),
        "d_min": np.stack([least for _, least in d]),
        "vertical_max": vertical[0],
        "vertical_min": vertical[1],
        "lateral_max": lateral[0],
        "lateral_min": lateral[1],
        "lateral_v_abs": _greatest_abs((moved.v[0] + moved.v[1]) / SQRT2, sector),
        "vertical_v_abs": _greatest_abs((moved.v[0] - moved.v[1]) / SQRT2, sector),
        "v_abs": np.stack([_greatest_abs(wall, sector) for wall in moved.v]),
        "a_abs": np.stack([_greatest_abs(wall, sector) for wall in moved.a]),
        "a_square": np.stack([mean_square(wall, sector) for wall in moved.a]),
        "sibilance_a": np.stack([_greatest_abs(wall, sector) for wall in moved.sibilance_a]),
        "low_vertical_abs": _greatest_abs(moved.low_vertical, sector),
    }


def greatest_by_millisecond(y: F64, rate: int) -> F64:
    """Greatest magnitude of the band-limited signal in each millisecond of the file, (cells,).

    A point of the grid lies in cell floor(1000 point / rate); a vertex between points lies where its point does.
    """
    greatest = np.abs(y)
    step = np.diff(y)
    turn = np.flatnonzero(step[:-1] * step[1:] < 0.0) + 1
    rise, fall = step[turn - 1], -step[turn]
    vertex = np.abs(y[turn] + (rise - fall) ** 2 / (8.0 * (rise + fall)))
    greatest[turn] = np.maximum(greatest[turn], vertex)
    cells = (len(y) - 1) * 1000 // rate + 1
    first = -(-np.arange(cells) * rate // 1000)  # of each cell, rounded up
    found: F64 = np.maximum.reduceat(greatest, first)
    return found


def milliseconds(moved: Motion) -> dict[str, F64]:
    """Greatest of four quantities in each millisecond of the file, for 1 m/s at 0 dBFS; of the greater wall."""
    lateral, vertical = (moved.v[0] + moved.v[1]) / SQRT2, (moved.v[0] - moved.v[1]) / SQRT2
    return {
        "lateral_slope": greatest_by_millisecond(lateral, moved.rate),
        "vertical_slope": greatest_by_millisecond(vertical, moved.rate),
        "tracing_ratio": np.maximum(*(greatest_by_millisecond(wall, moved.rate) for wall in moved.a)),
        "sibilance": np.maximum(*(greatest_by_millisecond(wall, moved.rate) for wall in moved.sibilance_a)),
    }


def zero_envelopes(sectors: int) -> Envelopes:
    """Envelopes of a groove that stands still, to be filled in by hand."""
    two_walls = {"d_max", "d_min", "v_abs", "a_abs", "a_square", "sibilance_a"}
    return {name: np.zeros((2, sectors) if name in two_walls else sectors) for name in ENVELOPES}


def inverted(kept: Envelopes) -> Envelopes:
    """Give the envelopes of the same programme with both channels turned over (L-2)."""
    turned = dict(kept)
    for what in ("d", "vertical", "lateral"):
        turned[f"{what}_max"], turned[f"{what}_min"] = -kept[f"{what}_min"], -kept[f"{what}_max"]
    return turned


def scale(chain: Chain, level_db: float) -> float:
    """Wall velocity, m/s peak, of a 1 kHz sine whose peak is 0 dBFS, at a cut level in dB (L-4 to L-6)."""
    wall = chain.reference_velocity / SQRT2  # L-4: one wall's share of a lateral velocity
    return wall * math.pow(10.0, (level_db - chain.align_dbfs) / 20.0)


def scaled(kept: Envelopes, factor: float) -> Envelopes:
    """Bring envelopes for 1 m/s at 0 dBFS to `factor` m/s at 0 dBFS."""
    return {name: values * (factor**2 if name == "a_square" else factor) for name, values in kept.items()}


# -- where the side starts and ends ------------------------------------------------------------------------


def audible_band(x: F64, rate: int, top_hz: float) -> F64:
    """The signal below the top and above 20 Hz, as if its first sample had always been there."""
    return high_passed(low_passed(x, rate, top_hz), rate)


def low_passed(x: F64, rate: int, top_hz: float) -> F64:
    """The signal less its first sample, below the top."""
    n = x.shape[1]
    size = n + 2 * rate
    hz = np.fft.rfftfreq(size, 1.0 / rate)
    low: F64 = np.fft.irfft(np.fft.rfft(x - x[:, :1], size) * top_response(hz, top_hz, rate), size)[:, :n]
    return low


def high_passed(x: F64, rate: int) -> F64:
    """What a 4th-order Butterworth at 20 Hz leaves; two seconds of nothing behind it take what it rings on."""
    n = x.shape[1]
    size = n + 2 * rate
    response = butterworth(np.fft.rfftfreq(size, 1.0 / rate), 20.0, 4, "high")
    high: F64 = np.fft.irfft(np.fft.rfft(x, size) * response, size)
    return high[:, :n]


def noise_floor_db(square: F64, tracks: Sequence[Track] = ()) -> float:
    """Noise floor in dBFS from the mean squares of 10 ms windows of the louder channel.

    The quietest second that is steady and quiet, outside the declared tracks if there is one; digital silence is asked
    last, and nothing under -70 dBFS matters.
    """
    seconds = [square[i : i + 100] for i in range(0, len(square) - 99, 100)]
    loudest = max((float(one.mean()) for one in seconds), default=0.0)
    quiet, outside = [], []
    for second, one in enumerate(seconds):
        mean = float(one.mean())
        steady = float(one.max()) <= mean * 10.0**0.6
        if mean <= 10.0**-4.5 and mean <= loudest * 10.0**-2.5 and steady:
            quiet.append(mean)
            if tracks and all(end <= second or second + 1 <= start for start, end, *_ in tracks):
                outside.append(mean)
    if not quiet:
        return -60.0
    noise = [mean for mean in quiet if mean > 1e-10]
    if not noise:
        return -70.0
    if found := [mean for mean in outside if mean > 1e-10]:
        return max(-70.0, 10.0 * math.log10(min(found)))
    highest = -60.0 if len(noise) < len(quiet) else math.inf
    return max(-70.0, min(highest, 10.0 * math.log10(min(noise))))


def programme(x: F64, rate: int, top_hz: float = 20_000.0, tracks: Sequence[Track] = ()) -> tuple[int, int] | None:
    """First frame of the first and end of the last 10 ms window that is 10 dB above the noise floor.

    Windows are consecutive from frame 0; the rms of a constant 1.0 is 0 dBFS. The last window may be a part,
    and its mean square is that of the frames there are. None where there is no programme. Line-up tones are not known.
    """
    window = rate // 100
    band = audible_band(x, rate, top_hz)
    starts = np.arange(0, x.shape[1], window)
    stops = np.minimum(starts + window, x.shape[1])
    channels = np.add.reduceat(band * band, starts, axis=1) / (stops - starts)
    head = low_passed(x, rate, top_hz)[:, : min(50 * window, x.shape[1])][:, ::-1]  # where the high-pass settles
    turned = high_passed(head - head[:, :1], rate)[:, ::-1]
    for k in range(min(20, channels.shape[1])):
        there = turned[:, starts[k] : stops[k]]
        channels[:, k] = np.minimum(channels[:, k], np.mean(there * there, axis=1))
    square = channels.max(axis=0)
    there = np.flatnonzero(square > 10.0 ** ((noise_floor_db(square, tracks) + 10.0) / 10.0))
    if len(there) == 0:
        return None
    return int(starts[there[0]]), int(stops[there[-1]])


def span(frames: int, rate: int, tracks: Sequence[Track], heard: tuple[int, int] | None) -> Span:
    """First sector of the side and the first after its last, counted from frame 0 of the file.

    Earliest of the first track's start and the first programme to latest of the last track's end and the last
    programme: floor and ceil, never past the last frame. A time within a millionth of a sector of an edge is
    on it, so that a time written as a decimal is not pushed into the next sector by its binary form.
    """
    sector = rate // SECTORS_A_SECOND
    starts, stops = [], []
    if tracks:
        starts.append(math.floor(tracks[0][0] * SECTORS_A_SECOND + 1e-6))
        stops.append(math.ceil(tracks[-1][1] * SECTORS_A_SECOND - 1e-6))
    if heard is not None:
        starts.append(heard[0] // sector)
        stops.append(math.ceil(heard[1] / sector))
    if not starts:
        raise ValueError("the side is silent and declares no track")
    start, stop = max(min(starts), 0), min(max(stops), math.ceil(frames / sector))
    if stop <= start:
        raise ValueError(f"the side ends at sector {stop}, before it starts at {start}")
    return start, stop


def gaps(tracks: Sequence[Track]) -> list[Gap]:
    """Sectors s to t - 1 of each mark: declared gaps of more than 0.3 s, rounded half up to whole sectors."""
    found = []
    for (_, end, mark), (start, _, _) in pairwise(tracks):
        if mark and start - end > 0.3 + 1e-9:
            s = math.floor(end * SECTORS_A_SECOND + 0.5)
            t = math.floor(start * SECTORS_A_SECOND + 0.5)
            found.append((s, t))
    return found


# -- how the turns lie -------------------------------------------------------------------------------------


def groove_speed(radius: F64, rpm: float) -> F64:
    """V = 2 pi r n/60, m/s (2e)."""
    speed: F64 = 2.0 * np.pi * radius * rpm / 60.0
    return speed


def cutting_depth(kept: Envelopes, chain: Chain) -> F64:
    """Depth of the groove before its modulation, m, (n,); level and polarity are already in `kept`."""
    n = len(kept["vertical_max"])
    plain = np.full(n, chain.top_width / 2.0)  # a 90 degree V: width is twice the depth
    if chain.depth == "fixed":
        return plain
    reach = chain.preview_sectors
    for i in range(n):
        up = kept["vertical_max"][max(i - reach, 0) : min(i + reach, n - 1) + 1].max()
        plain[i] = min(max(chain.keep_width / 2.0 + up, chain.top_width / 2.0), chain.nominal_depth)
    return plain


def demanded_pitch(kept: Envelopes, depth: F64, chain: Chain) -> F64:
    """p[i], m, (n,): what sector i needs beside sector i - N, one turn earlier, land included."""
    n, turn = len(depth), chain.sectors_a_turn
    earlier_depth = np.full(n, chain.top_width / 2.0)  # before the start: unmodulated
    earlier_inner = np.zeros(n)
    if n > turn:
        earlier_depth[turn:] = depth[:-turn]
        earlier_inner[turn:] = kept["d_min"][0, :-turn]  # the inner edge is the left channel's alone
    outer = kept["d_max"][1]  # the outer edge is the right channel's alone
    pitch: F64 = depth + earlier_depth + chain.land + SQRT2 * (outer - earlier_inner)
    return pitch


def both_ends(pitch: F64) -> F64:
    """P[i] = max(p[i], p[i + 1]), P[n - 1] = p[n - 1]: the land is to hold at both ends of a sector."""
    wanted: F64 = np.maximum(pitch, np.append(pitch[1:], pitch[-1]))
    return wanted


def spiral_as_cut(wanted: F64, marks: F64, chain: Chain) -> F64:
    """Advance of the carriage in each sector.

    Parameters
    ----------
    wanted
        (n,) P, m.
    marks
        (n,) the least advance that a mark asks of each sector, m; 0 outside marks.

    Returns
    -------
        (N + n,) m: the turn of lead-in first, then the n sectors of the side.
    """
    n, turn, ahead = len(wanted), chain.sectors_a_turn, chain.preview_sectors
    base = (chain.top_width + chain.land) / turn
    advance = np.full(turn + n, base)
    before = np.empty(turn + n + 1)  # before[turn + i] = sum of the advances of sectors -N .. i - 1
    before[: turn - ahead + 1] = base * np.arange(turn - ahead + 1)
    for i in range(-ahead, n):
        first, last = max(i, 0), min(i + ahead, n - 1)
        behind = before[turn + i] - before[first + 1 : last + 2]  # sum of sectors j - N + 1 .. i - 1
        each = (wanted[first : last + 1] - behind) / np.arange(first - i + 1, last - i + 2)
        mark = marks[i] if i >= 0 else 0.0
        most = max(chain.max_pitch / turn, mark)  # a mark is not held back
        advance[turn + i] = min(max(base, mark, each.max()), most)
        before[turn + i + 1] = before[turn + i] + advance[turn + i]
    return advance


def spiral_least(wanted: F64, chain: Chain) -> F64:
    """Advance in each sector, m, (n,), when every demand is met at the last moment and nothing holds back."""
    n, turn = len(wanted), chain.sectors_a_turn
    base = (chain.top_width + chain.land) / turn
    before = np.empty(turn + n + 1)
    before[: turn + 1] = base * np.arange(turn + 1)
    for i in range(n):
        behind = before[turn + i] - before[i + 1]  # sum of sectors i - N + 1 .. i - 1
        before[turn + i + 1] = before[turn + i] + max(0.0, wanted[i] - behind)
    return np.diff(before[turn:])


def land_left(advance: F64, pitch: F64, chain: Chain) -> F64:
    """Pitch given less what the two grooves take, m, (n,): the lesser of a sector's two ends.

    `advance` as `spiral_as_cut` returns it; the start of the very first sector does not count.
    """
    turn, n = chain.sectors_a_turn, len(pitch)
    run = np.concatenate([[0.0], np.cumsum(advance)])  # run[turn + i] = sectors -N .. i - 1
    taken = pitch - chain.land
    at_end = run[turn + 1 :] - run[1 : n + 1] - taken
    at_start = run[turn : turn + n] - run[:n] - taken
    at_start[0] = np.inf
    left: F64 = np.minimum(at_end, at_start)
    return left


def runs(which: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """First index, and first index after the last, of each unbroken run of True."""
    edges = np.diff(np.concatenate([[0], which.astype(np.int64), [0]]))
    yield from zip(np.flatnonzero(edges > 0).tolist(), np.flatnonzero(edges < 0).tolist(), strict=True)


def worst_mean(values: F64, window: int) -> float:
    """Greatest mean over `window` consecutive sectors, or over all of a shorter side."""
    window = min(window, len(values))
    run = np.concatenate([[0.0], np.cumsum(values)])
    return float((run[window:] - run[:-window]).max()) / window


def worst_share(ratio: F64, window: int) -> float:
    """Share of the sectors over 1 in the worst `window` consecutive sectors, 0 to 1."""
    return worst_mean((ratio > 1.0).astype(np.float64), window)


@dataclass(frozen=True, eq=False)
class Groove:
    """One side as cut at one level in one polarity; arrays are (n,), a value a sector of the span, SI units.

    `run_in` is the lead-in turn's advance, (N,). `radius` is that at the sector's end. `overlaps` are runs of
    sectors of the span (first, first after the last) where the land is below 0 by more than 0.01 um.
    """

    chain: Chain
    kept: Envelopes  # at this level and in this polarity, within the span
    depth: F64
    demand: F64  # p
    wanted: F64  # P
    run_in: F64
    advance: F64
    radius: F64
    speed: F64  # V, never below that of the finishing groove
    land: F64
    top_width: F64  # least in each sector
    greatest_depth: F64
    lateral_slope: F64
    vertical_slope: F64
    tracing_ratio: F64
    sibilance_ratio: F64
    travel: float
    travel_least: float
    last_diameter: float
    overlaps: tuple[tuple[int, int], ...]


def groove(
    kept: Envelopes, side: Span, marks: Sequence[Gap], chain: Chain, level_db: float, polarity: Polarity
) -> Groove:
    """Lay the groove of one side.

    Parameters
    ----------
    kept
        Envelopes of the whole file for 1 m/s at 0 dBFS, as `envelopes` returns them.
    side
        Sectors of the file that belong to the side.
    marks
        Sectors of the file between tracks, as `gaps` returns them.
    level_db
        Cut level; at 0 dB a 1 kHz sine in both channels with a peak of `align` cuts the reference velocity.
    """
    start, stop = side
    kept = {name: values[..., start:stop] for name, values in scaled(kept, scale(chain, level_db)).items()}
    if polarity == "inverted":
        kept = inverted(kept)
    n, turn = stop - start, chain.sectors_a_turn

    asked = np.zeros(n)
    for s, t in marks:
        for i in range(max(s - start, 0), min(t - start, n)):
            asked[i] = max(asked[i], chain.mark_width / (t - s))

    depth = cutting_depth(kept, chain)
    demand = demanded_pitch(kept, depth, chain)
    wanted = both_ends(demand)
    advance = spiral_as_cut(wanted, asked, chain)
    land = land_left(advance, demand, chain)
    radius = chain.outer_diameter / 2.0 - np.cumsum(advance[turn:])
    speed = groove_speed(np.maximum(radius, chain.finishing_diameter / 2.0), chain.rpm)
    steepest = speed * math.tan(math.radians(chain.back_angle_deg))  # C-1
    return Groove(
        chain=chain,
        kept=kept,
        depth=depth,
        demand=demand,
        wanted=wanted,
        run_in=advance[:turn],
        advance=advance[turn:],
        radius=radius,
        speed=speed,
        land=land,
        top_width=2.0 * (depth - kept["vertical_max"]),
        greatest_depth=depth - kept["vertical_min"],
        lateral_slope=kept["lateral_v_abs"] / steepest,
        vertical_slope=kept["vertical_v_abs"] / steepest,
        tracing_ratio=chain.tip_radius * kept["a_abs"].max(axis=0) / speed**2,  # C-3
        sibilance_ratio=chain.tip_radius * kept["sibilance_a"].max(axis=0) / speed**2,  # C-11
        travel=float(advance[turn:].sum()),
        travel_least=float(spiral_least(wanted, chain).sum()),
        last_diameter=float(2.0 * radius[-1]),
        overlaps=tuple(runs(land < -0.01e-6)),
    )


# -- measurements ------------------------------------------------------------------------------------------

LENGTHS_SMALLER_IS_WORSE = frozenset({"groove.last_diameter", "groove.top_width_min", "groove.land_min"})
SMALLER_IS_WORSE = LENGTHS_SMALLER_IS_WORSE | {"layout.lead_out_room"}
LEAD_OUT_PITCH = 6.4e-3  # m a turn, D-8


def measurements(cut: Groove) -> dict[str, float]:
    """Give what is published of one groove, by name, in field units (um, mm, cm/s, g; shares 0 to 1)."""
    kept = cut.kept
    furthest = max(kept["lateral_max"].max(), -kept["lateral_min"].min())
    um, mm, cm = 1e6, 1e3, 1e2
    drive = [
        max(math.sqrt(worst_mean(wall, window)) for wall in kept["a_square"]) / STANDARD_GRAVITY  # C-10
        for window in (75, 750)
    ]
    return {
        "groove.wall_velocity_peak": float(kept["v_abs"].max()) * cm,
        "groove.lateral_velocity_peak": float(kept["lateral_v_abs"].max()) * cm,
        "groove.lateral_displacement_peak": float(furthest) * um,
        "groove.vertical_up_peak": float(kept["vertical_max"].max()) * um,
        "groove.vertical_down_peak": float(-kept["vertical_min"].min()) * um,
        "groove.low_vertical_peak": float(kept["low_vertical_abs"].max()) * um,
        "groove.acceleration_peak": float(kept["a_abs"].max()) / STANDARD_GRAVITY,
        "groove.drive_1s": drive[0],
        "groove.drive_10s": drive[1],
        "groove.top_width_min": float(cut.top_width.min()) * um,
        "groove.depth_max": float(cut.greatest_depth.max()) * um,
        "groove.land_min": float(cut.land.min()) * um,
        "groove.lateral_slope_peak": float(cut.lateral_slope.max()),
        "groove.vertical_slope_peak": float(cut.vertical_slope.max()),
        "groove.tracing_ratio_peak": float(cut.tracing_ratio.max()),
        "groove.lateral_slope_share": worst_share(cut.lateral_slope, 750),
        "groove.vertical_slope_share": worst_share(cut.vertical_slope, 750),
        "groove.tracing_ratio_share": worst_share(cut.tracing_ratio, 750),
        "groove.sibilance_share": worst_share(cut.sibilance_ratio, 75),
        "groove.travel": cut.travel * mm,
        "groove.travel_least": cut.travel_least * mm,
        "groove.last_diameter": cut.last_diameter * mm,
        "layout.lead_out_room": (cut.last_diameter - cut.chain.finishing_diameter) / 2.0 / LEAD_OUT_PITCH,
    }


def shares_of_time(cells: dict[str, F64], side: Span, cut: Groove, level_db: float) -> dict[str, float]:
    """Give the shares of time of one groove: milliseconds beyond 1 and 2 in the worst 10 s, or second.

    A millisecond takes the groove speed of the sector that holds its first point, and is of the side where that is.
    """
    chain = cut.chain
    first, stop = (-(-sector * 1000 // SECTORS_A_SECOND) for sector in side)
    found = {}
    for name, values in cells.items():
        here = np.arange(first, min(stop, len(values)))
        speed = cut.speed[here * SECTORS_A_SECOND // 1000 - side[0]]
        steepest = speed * math.tan(math.radians(chain.back_angle_deg))
        allowed = steepest if name.endswith("slope") else speed**2 / chain.tip_radius
        ratio = values[here] * scale(chain, level_db) / allowed
        window = 1_000 if name == "sibilance" else 10_000
        found[f"groove.{name}_time"] = worst_share(ratio, window)
        found[f"groove.{name}_time_twice"] = worst_share(ratio / 2.0, window)
    return found


def measure_time(side: Side, chain: Chain, level_db: float) -> dict[str, float]:
    """Give all shares of time of a side at a level, the worse of the polarities where the chain says so."""
    ways: tuple[Polarity, ...] = ("normal", "inverted") if chain.polarity == "worst" else (chain.polarity,)
    found = [
        shares_of_time(
            side.cells, side.span, groove(side.envelopes, side.span, side.gaps, chain, level_db, way), level_db
        )
        for way in ways
    ]
    return {name: max(shares[name] for shares in found) for name in found[0]}


def measure(
    kept: Envelopes,
    side: Span,
    marks: Sequence[Gap],
    chain: Chain,
    level_db: float,
    polarity: Judged | None = None,
) -> dict[str, float]:
    """Give all measurements at a level; arguments as for `groove`, `polarity` by default the chain's.

    For `worst` each number is its own worse of the two polarities.
    """
    asked = polarity or chain.polarity
    if asked != "worst":
        return measurements(groove(kept, side, marks, chain, level_db, asked))
    normal = measurements(groove(kept, side, marks, chain, level_db, "normal"))
    turned = measurements(groove(kept, side, marks, chain, level_db, "inverted"))
    worse = {name: min if name in SMALLER_IS_WORSE else max for name in normal}
    return {name: worse[name](normal[name], turned[name]) for name in normal}


# -- the level that a side can take ------------------------------------------------------------------------


@dataclass(frozen=True)
class Limit:
    """One limit in its measurement's unit; `sets` names the value that the recommended level keeps to."""

    measurement: str
    op: Literal["<=", ">="]
    warn: float | None
    fail: float | None
    sets: Literal["warn", "fail"] | None

    def holds(self, value: float, which: Literal["warn", "fail"]) -> bool:
        """Whether a value meets the limit; one within 0.01 um, or 0.01 mm of a diameter, of it does."""
        limit = self.warn if which == "warn" else self.fail
        if limit is None:
            return True
        slack = 0.01 if self.measurement in NEAR_ENOUGH else 0.0
        return value >= limit - slack if self.op == ">=" else value <= limit + slack


NEAR_ENOUGH = LENGTHS_SMALLER_IS_WORSE | {"groove.depth_max", "groove.low_vertical_peak"}  # lengths
LAST_DIAMETER_MM = {  # 2a to 2c, D-23: warn, fail
    "12in": (120.65, 115.0),
    "10in": (120.65, 115.0),
    "7in": (107.95, 106.0),
}


def limits_of(size: Literal["12in", "10in", "7in"] = "12in") -> tuple[Limit, ...]:
    """All limits on the groove of a disc of this size."""
    return (
        Limit("groove.last_diameter", ">=", *LAST_DIAMETER_MM[size], "warn"),
        Limit("groove.top_width_min", ">=", 30.0, 25.4, "fail"),  # practice, G-9
        Limit("groove.depth_max", "<=", 110.0, 127.0, "fail"),  # practice, G-6
        Limit("groove.lateral_slope_share", "<=", 0.02, 0.10, "fail"),  # C-1, practice
        Limit("groove.vertical_slope_share", "<=", 0.01, 0.05, "fail"),  # C-1, practice
        Limit("groove.tracing_ratio_share", "<=", 0.02, 0.10, "fail"),  # C-3, G-15, practice
        Limit("groove.sibilance_share", "<=", 0.10, 0.30, "fail"),  # C-11, practice
        Limit("groove.drive_1s", "<=", 200.0, 400.0, "fail"),  # C-10, practice
        Limit("groove.drive_10s", "<=", 150.0, 300.0, "fail"),  # C-10, practice
        Limit("groove.land_min", ">=", 13.0, 0.0, "fail"),  # V-7
        Limit("groove.lateral_slope_peak", "<=", 2.0, None, None),  # practice
        Limit("groove.vertical_slope_peak", "<=", 2.0, None, None),  # practice
        Limit("groove.tracing_ratio_peak", "<=", 4.0, None, None),  # practice
        Limit("groove.acceleration_peak", "<=", 5000.0, None, None),  # L-13
        Limit("groove.lateral_velocity_peak", "<=", 50.0, None, None),  # L-12
        Limit("groove.low_vertical_peak", "<=", 40.0, 60.0, "fail"),  # C-12, practice
        Limit("layout.lead_out_room", ">=", 0.75, 0.5, "fail"),  # D-8, D-9
    )


@dataclass(frozen=True)
class Level:
    """A cut level in dB; bound ">": even the highest searched one holds, "<": not even the lowest does."""

    level_db: float
    bound: Literal["", ">", "<"] = ""


def at_levels(
    kept: Envelopes, side: Span, marks: Sequence[Gap], chain: Chain, polarity: Judged | None = None
) -> AtLevels:
    """Return `measure` as a function of the level in tenths of a dB, which works each level out once."""
    return cache(lambda tenths: measure(kept, side, marks, chain, tenths / 10.0, polarity))


def largest_level(measured: AtLevels, kept_to: Sequence[tuple[Limit, Literal["warn", "fail"]]]) -> Level:
    """Find the largest level on a grid of 0.1 dB, -40 to +20 dB, at which these values of limits hold."""

    def holds(tenths: int) -> bool:
        return all(limit.holds(measured(tenths)[limit.measurement], which) for limit, which in kept_to)

    low, high = -400, 200
    if holds(high):
        return Level(high / 10.0, ">")
    if not holds(low):
        return Level(low / 10.0, "<")
    while high - low > 1:
        middle = (low + high) // 2
        if holds(middle):
            low = middle
        else:
            high = middle
    return Level(low / 10.0)


def recommended(
    kept: Envelopes,
    side: Span,
    marks: Sequence[Gap],
    chain: Chain,
    polarity: Judged | None = None,
    limits: Sequence[Limit] | None = None,
) -> Level:
    """Find the largest level on a grid of 0.1 dB, -40 to +20 dB, at which the limits that set the level hold.

    Arguments as for `measure`; `limits` by default those of a 12 in disc. Given one limit: the level at which
    that one alone is reached.
    """
    chosen = limits_of() if limits is None else limits
    kept_to = [(limit, limit.sets) for limit in chosen if limit.sets is not None]
    return largest_level(at_levels(kept, side, marks, chain, polarity), kept_to)


def clean(
    kept: Envelopes,
    side: Span,
    marks: Sequence[Gap],
    chain: Chain,
    polarity: Judged | None = None,
    limits: Sequence[Limit] | None = None,
) -> Level:
    """Find the largest level at which every warn value holds, peaks included; else as `recommended`."""
    chosen = limits_of() if limits is None else limits
    return largest_level(at_levels(kept, side, marks, chain, polarity), [(limit, "warn") for limit in chosen])


# -- in one go ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Side:
    """All that a file and its track times give before a level is chosen."""

    envelopes: Envelopes
    span: Span
    gaps: list[Gap]
    cells: dict[str, F64]


def side_of(x: F64, rate: int, tracks: Sequence[Track], chain: Chain) -> Side:
    """Envelopes, span and marks of a file of (2, frames) samples; pass them on to `groove` or `measure`."""
    moved = motion(x, rate, chain)
    return Side(
        envelopes=envelopes(moved),
        cells=milliseconds(moved),
        span=span(x.shape[1], rate, tracks, programme(x, rate, chain.top_hz, tracks)),
        gaps=gaps(tracks),
    )
