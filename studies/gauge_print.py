"""Solids as files for a printer: STL and 3MF, in millimetres, the same bytes for the same solid."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from xml.sax.saxutils import quoteattr

import numpy as np
import trimesh
from manifold3d import Manifold

from wrenpipe.studies.gauge_making import Gauge
from wrenpipe.studies.gauge_stick import TURNS, stick_parts

__all__ = ["NotClosedError", "meshes_of", "printed_stick", "stl_bytes", "three_mf_bytes"]

TOGETHER = 5
"""Decimals of a millimetre to which points count as one; single precision leaves about as many."""
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
RELATIONS = "http://schemas.openxmlformats.org/package/2006"
CONTENT_TYPES = (
    f'<?xml version="1.0" encoding="UTF-8"?>\n<Types xmlns="{RELATIONS}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
RELATION = (
    f'<?xml version="1.0" encoding="UTF-8"?>\n<Relationships xmlns="{RELATIONS}/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)


class NotClosedError(RuntimeError):
    """A solid that has a gap once its points are rounded."""


def printed_stick(gauge: Gauge, most_height: float) -> tuple[trimesh.Trimesh, ...]:
    """The parts of a stick below a height, m; where one is not closed, the next turn is tried."""
    for turn in TURNS[:-1]:
        try:
            return meshes_of(stick_parts(gauge, most_height, turn))
        except NotClosedError:
            continue
    return meshes_of(stick_parts(gauge, most_height, TURNS[-1]))


def meshes_of(parts: Sequence[Manifold]) -> tuple[trimesh.Trimesh, ...]:
    """The surface of each solid as a program for printers reads it, with points that lie together made one.

    Raises NotClosedError where it is not closed.
    """
    meshes = []
    for part in parts:
        surface = part.to_mesh()
        points = np.asarray(surface.vert_properties, dtype=float)[:, :3]
        mesh = trimesh.Trimesh(points, surface.tri_verts.astype(int), process=False)
        mesh.merge_vertices(digits_vertex=TOGETHER)
        if not (mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0.0):
            raise NotClosedError("the surface of a printed part is not closed")
        meshes.append(mesh)
    return tuple(meshes)


def stl_bytes(meshes: Sequence[trimesh.Trimesh]) -> bytes:
    """All parts in one binary STL, mm by custom (the format has no unit)."""
    content = trimesh.util.concatenate(list(meshes)).export(file_type="stl")
    assert isinstance(content, bytes)
    return content


def three_mf_bytes(meshes: Sequence[trimesh.Trimesh], title: str) -> bytes:
    """All parts as objects of one 3MF package (3MF Core Specification 1.x), in millimetres.

    Written here, as it is three small files in a zip; the exporter at hand would add two libraries.
    """
    objects = []
    for n, mesh in enumerate(meshes, start=1):
        points = "".join(
            f'<vertex x="{x:.5f}" y="{y:.5f}" z="{z:.5f}"/>' for x, y, z in mesh.vertices.tolist()
        )
        faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces.tolist())
        name = quoteattr(title if len(meshes) == 1 else f"{title}, part {n}")
        objects.append(
            f'<object id="{n}" type="model" name={name}><mesh><vertices>{points}</vertices>'
            f"<triangles>{faces}</triangles></mesh></object>\n"
        )
    items = "".join(f'<item objectid="{n}"/>' for n in range(1, len(meshes) + 1))
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en" xmlns="{CORE}">\n'
        f"<resources>\n{''.join(objects)}</resources>\n<build>{items}</build>\n</model>\n"
    )
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in (
            ("[Content_Types].xml", CONTENT_TYPES),
            ("_rels/.rels", RELATION),
            ("3D/3dmodel.model", model),
        ):
            # No time of writing, so that the same solid gives the same bytes.
            package.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)
    return content.getvalue()
