"""Solids with known volumes, drafts and undercuts, and files made of them."""

import io
import struct
import zipfile

import numpy as np

from planning.core.pattern.mesh import Mesh, weld


def frustum_mesh(sides, r_bottom, r_top, height):
    """Closed n-sided frustum standing on height 0, its faces outwards."""
    turn = 2 * np.pi * np.arange(sides) / sides
    ring = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(sides)])
    points = np.vstack(
        [ring * r_bottom, ring * r_top + [0, 0, height], [[0, 0, 0], [0, 0, height]]]
    )
    low = np.arange(sides)
    following = (low + 1) % sides
    high, high_following = low + sides, following + sides
    bottom, top = np.full(sides, 2 * sides), np.full(sides, 2 * sides + 1)
    facets = np.concatenate(
        [
            np.column_stack([low, following, high_following]),
            np.column_stack([low, high_following, high]),
            np.column_stack([bottom, following, low]),
            np.column_stack([top, high, high_following]),
        ]
    )
    return Mesh(points, facets)


def box_mesh(length, width, height):
    """Closed box with a corner at the origin."""
    corners = [(x, y, z) for x in (0, length) for y in (0, width) for z in (0, height)]
    facets = [
        (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3), (0, 4, 5), (0, 5, 1),
        (2, 3, 7), (2, 7, 6), (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5),
    ]  # fmt: skip
    return Mesh(np.array(corners, dtype=float), np.array(facets, dtype=np.int64))


def dovetail_mesh(length=140.0):
    """
    Plate 200 x 60 mm, as long as asked, with a dovetail groove along it.

    The groove is 50 mm wide at the top, 80 mm at its floor and 30 mm deep: each of its walls
    leans back by 15 mm over 30 mm, and 15 mm of floor lie under each.
    """
    import shapely
    import trimesh

    outline = shapely.Polygon(
        [(0, 0), (200, 0), (200, 60), (125, 60), (140, 30), (60, 30), (75, 60), (0, 60)]
    )
    body = trimesh.creation.extrude_polygon(outline, length)
    # drawn lying; stand it up so that the outline's second axis is the height
    points = np.asarray(body.vertices)[:, [0, 2, 1]] * [1, -1, 1]
    return weld(points.astype(float), np.asarray(body.faces, dtype=np.int64))


def sphere_mesh(radius=50.0, subdivisions=4):
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return Mesh(np.asarray(ball.vertices, dtype=float), np.asarray(ball.faces, dtype=np.int64))


def binary_stl(mesh, head=b"invented pattern", announced=None):
    corners = mesh.points_mm[mesh.facets].astype("<f4")
    rows = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("s", "<u2")])
    rows["c"] = corners
    count = len(corners) if announced is None else announced
    return head.ljust(80, b"\0") + struct.pack("<I", count) + rows.tobytes()


def text_stl(mesh):
    lines = ["solid invented"]
    for facet in mesh.points_mm[mesh.facets].tolist():
        lines += ["facet normal 0 0 0", " outer loop"]
        lines += ["  vertex " + " ".join(map(repr, corner)) for corner in facet]
        lines += [" endloop", "endfacet"]
    return "\n".join([*lines, "endsolid invented"]).encode()


def model_3mf(mesh, unit="millimeter", build='<item objectid="1"/>', more=""):
    points = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in mesh.points_mm.tolist())
    facets = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.facets.tolist())
    return (
        f'<model unit="{unit}" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f'<resources><object id="1"><mesh><vertices>{points}</vertices><triangles>{facets}'
        f"</triangles></mesh></object>{more}</resources><build>{build}</build></model>"
    ).encode()


def archive(model, name="3D/3dmodel.model", packed=True):
    out = io.BytesIO()
    method = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
    with zipfile.ZipFile(out, "w", method) as file:
        file.writestr(name, model)
    return out.getvalue()
