"""One flat vector for everything about an instrument that moves a pitch, and its bore as nodes.

Layout of the vector p for S bore stations and H holes, SI units:
    station x (S) | station radius (S) | hole x (H) | diameter (H) | chimney (H) | outer radius (H)
    | pad lift (H) | pad radius (H) | top diameter (H) | top height (H) | undercut (H) | undercut height (H)
    | intrusion (H) | rim radius (H) | hover (H) | azimuth (H) | reed volume (1)
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.geometry import Instrument

__all__ = [
    "NO_CUTS",
    "Cuts",
    "Layout",
    "Nodes",
    "cuts_of",
    "layout_of",
    "nodes_of",
    "pack",
    "pull_back",
    "unpack",
]

Real = NDArray[np.float64]
Cuts = tuple[NDArray[np.int64], Real]
"""Plain cuts of the bore: (segment, share of the way along it), each (n_cut,)."""

HOLE_FIELDS = (
    "diameter",
    "chimney",
    "outer_radius",
    "pad_lift",
    "pad_radius",
    "top_diameter",
    "top_height",
    "undercut",
    "undercut_height",
    "intrusion",
    "rim_radius",
    "hover",
    "azimuth",
)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where each block of the flat vector lies."""

    stations: int
    holes: int

    @property
    def length(self) -> int:
        return 2 * self.stations + (1 + len(HOLE_FIELDS)) * self.holes + 1

    @property
    def station_x(self) -> slice:
        return slice(0, self.stations)

    @property
    def station_radius(self) -> slice:
        return slice(self.stations, 2 * self.stations)

    def hole_block(self, field: str) -> slice:
        """Block of one field over all holes: "x" or one of HOLE_FIELDS."""
        start = 2 * self.stations + self.holes * (("x", *HOLE_FIELDS).index(field))
        return slice(start, start + self.holes)

    @property
    def reed(self) -> int:
        return self.length - 1


@dataclass(frozen=True, slots=True)
class Nodes:
    """The bore cut at every station, every hole and some plain places, reed first.

    x, radius: (n_node,). hole: (n_node,) hole index or -1. segment: (n_node,) index of the bore
    segment that a hole's or a cut's node lies in, or -1; station: (n_node,) index of the station, or -1.
    share: (n_node,) where in its segment a cut lies, NaN for the others.
    """

    x: Real
    radius: Real
    hole: NDArray[np.int64]
    segment: NDArray[np.int64]
    station: NDArray[np.int64]
    share: Real


def layout_of(instrument: Instrument) -> Layout:
    return Layout(len(instrument.bore.stations), len(instrument.holes))


def pack(instrument: Instrument) -> Real:
    """The instrument as a flat vector, shape (layout.length,)."""
    stations = instrument.bore.stations
    parts = [[x for x, _ in stations], [r for _, r in stations], [hole.x for hole in instrument.holes]]
    parts += [[getattr(hole, field) for hole in instrument.holes] for field in HOLE_FIELDS]
    parts.append([instrument.reed.equivalent_volume])
    return np.array([value for part in parts for value in part], dtype=np.float64)


def unpack(p: Real, like: Instrument) -> Instrument:
    """The instrument with the geometry of a flat vector and everything else as in `like`."""
    layout = layout_of(like)
    if p.shape != (layout.length,):
        raise ValueError(f"parameter vector has shape {p.shape}; this instrument needs ({layout.length},)")
    stations = tuple(zip(p[layout.station_x].tolist(), p[layout.station_radius].tolist(), strict=True))
    bore = replace(like.bore, stations=stations)
    columns = [p[layout.hole_block(field)].tolist() for field in ("x", *HOLE_FIELDS)]
    holes = tuple(
        replace(hole, **dict(zip(("x", *HOLE_FIELDS), values, strict=True)))
        for hole, *values in zip(like.holes, *columns, strict=True)
    )
    return replace(
        like, bore=bore, holes=holes, reed=replace(like.reed, equivalent_volume=float(p[layout.reed]))
    )


def cuts_of(p: Real, layout: Layout, longest: float) -> Cuts:
    """Plain cuts that leave no piece of a bore segment longer than `longest`, m."""
    spans = np.diff(p[layout.station_x])
    pieces = np.maximum(1, np.ceil(spans / longest)).astype(np.int64)
    segment = np.repeat(np.arange(len(spans)), pieces - 1)
    share = np.concatenate([np.arange(1, n) / n for n in pieces]) if len(segment) else np.zeros(0)
    return segment.astype(np.int64), share


NO_CUTS: Cuts = (np.zeros(0, dtype=np.int64), np.zeros(0))


def nodes_of(p: Real, layout: Layout, cuts: Cuts = NO_CUTS) -> Nodes:
    """Cut the bore at stations and holes, and at plain cuts that stay at their share of their segment.

    Raises ValueError for a hole outside the bore.
    """
    sx, sr = p[layout.station_x], p[layout.station_radius]
    hx = p[layout.hole_block("x")]
    if layout.holes and not (sx[0] <= hx.min() and hx.max() < sx[-1]):
        raise ValueError("a tone hole lies outside the bore")
    segment = np.searchsorted(sx, hx, side="right") - 1
    share = (hx - sx[segment]) / (sx[segment + 1] - sx[segment])
    hr = sr[segment] + share * (sr[segment + 1] - sr[segment])
    part, at = cuts
    cx, cr = sx[part] + at * (sx[part + 1] - sx[part]), sr[part] + at * (sr[part + 1] - sr[part])
    x = np.concatenate([sx, hx, cx])
    # Stable: at equal x a station stays above a hole, and the stations of a step keep their order.
    order = np.argsort(x, kind="stable")
    none_s, none_h, none_c = np.full(len(sx), -1), np.full(len(hx), -1), np.full(len(at), -1)
    nowhere = np.full(len(sx) + len(hx), np.nan)
    return Nodes(
        x=x[order],
        radius=np.concatenate([sr, hr, cr])[order],
        hole=np.concatenate([none_s, np.arange(len(hx)), none_c])[order].astype(np.int64),
        segment=np.concatenate([none_s, segment, part])[order].astype(np.int64),
        station=np.concatenate([np.arange(len(sx)), none_h, none_c])[order].astype(np.int64),
        share=np.concatenate([nowhere, at])[order],
    )


def pull_back(
    p: Real,
    layout: Layout,
    nodes: Nodes,
    grad_x: Real,  # (n_note, n_node)
    grad_radius: Real,  # (n_note, n_node)
    grad_hole: Real,  # (n_note, n_hole, len(HOLE_FIELDS))
    grad_reed: Real,  # (n_note,)
) -> Real:
    """Derivatives by the flat vector from derivatives by nodes, shape (n_note, layout.length)."""
    out = np.zeros((grad_x.shape[0], layout.length))
    sx, sr = p[layout.station_x], p[layout.station_radius]
    at_station = nodes.station >= 0
    out[:, nodes.station[at_station]] = grad_x[:, at_station]
    out[:, layout.stations + nodes.station[at_station]] = grad_radius[:, at_station]
    at_cut = np.isfinite(nodes.share)
    left, share = nodes.segment[at_cut], nodes.share[at_cut]
    gx, gr = grad_x[:, at_cut], grad_radius[:, at_cut]
    shared = [
        (left, gx * (1 - share)),
        (left + 1, gx * share),
        (layout.stations + left, gr * (1 - share)),
        (layout.stations + left + 1, gr * share),
    ]
    if layout.holes:
        at_hole = nodes.hole >= 0
        hole, left = nodes.hole[at_hole], nodes.segment[at_hole]
        hx = nodes.x[at_hole]
        span = sx[left + 1] - sx[left]
        slope = (sr[left + 1] - sr[left]) / span
        share = (hx - sx[left]) / span
        gr = grad_radius[:, at_hole]
        out[:, layout.hole_block("x").start + hole] = grad_x[:, at_hole] + gr * slope
        shared += [
            (left, -gr * slope * (1 - share)),
            (left + 1, -gr * slope * share),
            (layout.stations + left, gr * (1 - share)),
            (layout.stations + left + 1, gr * share),
        ]
        for n, field in enumerate(HOLE_FIELDS):
            out[:, layout.hole_block(field)] = grad_hole[:, :, n]
    out[:, layout.reed] = grad_reed
    # What ends in the stations' columns, several nodes in each, as one product: adding column by column takes
    # as long as the notes' reverse sweeps.
    columns = np.concatenate([column for column, _ in shared])
    spread = np.zeros((len(columns), 2 * layout.stations))
    spread[np.arange(len(columns)), columns] = 1.0
    out[:, : 2 * layout.stations] += np.hstack([by for _, by in shared]) @ spread
    return out
