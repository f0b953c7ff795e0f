"""Parallel projections of one construct: what is drawn, and from where.

Pictures are in mm: every view knows where a point of the femur falls in it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from math import cos, radians, sin
from typing import Any

import numpy as np
import pyvista as pv
from matplotlib import colormaps
from numpy.typing import NDArray

from geometries.solids import IMPLANT_ROLES, TISSUE_ROLES
from pipeline.output.model import BONE, Array, Model

os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")  # no warning without X

COLOURS = {
    "cortex": "#f0e3c9",
    "cancellous": "#f7efdd",
    "canal": "#c8a2c8",
    "pad": "#b58a5a",
    "gap": "#e8438a",
    "inner": "#f07fb0",
    "cuff": "#f7b6d2",
    "nail": "#3355b5",
    "stem": "#59616b",
    "cement": "#a9b7c0",
    "bolt": "#8fc0f5",
    "plate": "#0f5143",
    "screw": "#3f9d4f",
}
CUT_COLOURS = {"cortex": "#dcc194", "cancellous": "#f3e8cf"}
GHOSTS = {
    "cortex": "#eceae4",
    "cancellous": "#f4f2ed",
    "canal": "#ece0ec",
    "pad": "#e3d6c6",
    "gap": "#f3b9d0",
    "inner": "#f6cfdf",
    "cuff": "#fae3ec",
}
STEEL = "#aeb4bb"  # implants beside the colours of a field
INK = "#2b2b2b"
LIGHTS = (((-0.5, 0.6, 1.0), 0.6), ((0.6, -0.6, 0.9), 0.5))  # beside the viewer
NORMALS = {"y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
HAIR_MM = 0.01  # beside a plane, so that no face of the mesh lies in the cut

_GLOSS: dict[str, Any] = {"ambient": 0.5, "diffuse": 0.62, "specular": 0.25, "specular_power": 20}
_SMOOTH: dict[str, Any] = {"smooth_shading": True, "split_sharp_edges": True, "feature_angle": 40.0}


@dataclass(frozen=True)
class Scale:
    """Colours of a field: 0 to `top`, then one colour of its own."""

    field: str
    top: float
    colours: str
    over: str
    label: str


@dataclass(frozen=True)
class Camera:
    """A window onto the construct, in parallel projection.

    Parameters
    ----------
    centre : tuple of float
        Point in the middle of the window, mm.
    half_width, half_height : float
        Half the window, mm.
    azimuth_deg, elevation_deg : float
        Where the viewer stands: turned from anterior to lateral, and raised.
    """

    centre: tuple[float, float, float]
    half_width: float
    half_height: float
    azimuth_deg: float = 32.0
    elevation_deg: float = 0.0

    @property
    def axes(self) -> tuple[Array, Array, Array]:
        """Unit vectors to the right, up and towards the viewer."""
        a, e = radians(self.azimuth_deg), radians(self.elevation_deg)
        toward = np.array([-sin(a) * cos(e), cos(a) * cos(e), sin(e)])
        right = np.array([-cos(a), -sin(a), 0.0])
        return right, np.cross(toward, right), toward

    def project(self, point: tuple[float, float, float]) -> tuple[float, float]:
        """Where a point falls in the window, mm right of and above its middle.

        Medial, anterior and proximal are a right-handed triad on a left femur, so that pictures show
        the mirror image of what the camera sees: a right femur.
        """
        right, up, _ = self.axes
        offset = np.asarray(point) - self.centre
        return -float(offset @ right), float(offset @ up)


@dataclass(frozen=True)
class View:
    """A picture and the camera that took it."""

    image: NDArray[np.uint8]
    camera: Camera


def cutaway(model: Model, camera: Camera) -> View:
    """All parts in their colours, the anterior half of bone and gap removed."""
    stage = _Stage(camera)
    for role in model.solids:
        if role in IMPLANT_ROLES:
            stage.solid(role, model.surfaces[role])
        else:
            stage.half(role, model, "y", 0.0)
    return stage.shoot()


def loaded_implants(model: Model, camera: Camera, scale: Scale) -> View:
    """Implants in the colours of their stress before the pale posterior half of the bone."""
    stage = _Stage(camera)
    for role, colour in GHOSTS.items():
        if role in model.solids:
            stage.half(role, model, "y", 0.0, colour)
    for role in model.implants:
        stage.field(model.surfaces[role], scale)
    return stage.shoot()


def strained_gap(model: Model, camera: Camera, scale: Scale) -> View:
    """Gap tissue in the colours of its strain, on the distal bone; nothing above the gap."""
    stage = _Stage(camera)
    top = model.gap[0] + model.gap[1] / 2
    for role in model.solids:
        if role in (*BONE, "cuff"):
            stage.half(role, model, "z", top - model.gap[1])
        elif role in TISSUE_ROLES:
            stage.field(model.surfaces[role], scale)
        else:
            stage.half(role, model, "z", top, STEEL)
    return stage.shoot()


class _Stage:
    """A set with its lights, taken down after one shot."""

    def __init__(self, camera: Camera) -> None:
        self.camera = camera
        tall = 1500 if camera.half_height > camera.half_width else 1000
        wide = round(tall * camera.half_width / camera.half_height)
        white = pv.themes.DocumentTheme()  # whatever the user has chosen
        self.plotter = pv.Plotter(
            off_screen=True, lighting="none", window_size=[wide, tall], theme=white
        )
        for position, intensity in LIGHTS:
            light = pv.Light(position=position, intensity=intensity, light_type="camera light")
            self.plotter.add_light(light)

    def solid(self, role: str, surface: pv.PolyData, colour: str | None = None) -> None:
        """Add a whole part, its edges inked."""
        if not surface.n_cells:
            return
        self.plotter.add_mesh(surface, color=colour or COLOURS[role], scalars=None, **_GLOSS, **_SMOOTH)
        self._ink(surface)

    def half(self, role: str, model: Model, normal: str, at: float, colour: str | None = None) -> None:
        """Add what lies below a plane, the cut face in a colour of its own."""
        origin = [at - HAIR_MM] * 3
        self.solid(role, model.surfaces[role].clip(NORMALS[normal], origin=origin), colour)
        face = model.solids[role].slice(NORMALS[normal], origin=origin)
        if face.n_cells:
            cut = colour or CUT_COLOURS.get(role, COLOURS[role])
            self.plotter.add_mesh(face, color=cut, scalars=None, ambient=0.8, diffuse=0.25)

    def field(self, surface: pv.PolyData, scale: Scale) -> None:
        """Add a part in the colours of a field."""
        self.plotter.add_mesh(
            surface,
            scalars=scale.field,
            clim=(0.0, scale.top),
            cmap=colormaps[scale.colours],
            above_color=scale.over,
            show_scalar_bar=False,
            ambient=0.55,
            diffuse=0.5,
            **_SMOOTH,
        )
        self._ink(surface)

    def _ink(self, surface: pv.PolyData) -> None:
        edges = surface.extract_feature_edges(
            50.0, boundary_edges=False, non_manifold_edges=False, manifold_edges=False
        )
        if edges.n_cells:
            self.plotter.add_mesh(edges, color=INK, line_width=1.2, opacity=0.55, scalars=None)

    def shoot(self) -> View:
        """Render, close, and hand over the picture."""
        camera, view = self.camera, self.plotter.camera
        _, up, toward = camera.axes
        view.focal_point = camera.centre
        view.position = tuple(np.asarray(camera.centre) + 1000 * toward)
        view.up = tuple(up)
        view.parallel_projection = True
        view.parallel_scale = camera.half_height
        self.plotter.renderer.reset_camera_clipping_range()
        self.plotter.enable_anti_aliasing("ssaa")
        image = np.asarray(self.plotter.screenshot(None, return_img=True), dtype=np.uint8)
        self.plotter.close()
        return View(image[:, ::-1], camera)
