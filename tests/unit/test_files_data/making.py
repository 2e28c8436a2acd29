"""Makes forms.step and assembly.step (needs build123d; not run by the tests): one body of every form, two placed bodies."""

from pathlib import Path

from build123d import (
    Box,
    BuildLine,
    BuildPart,
    BuildSketch,
    Compound,
    Cylinder,
    GeomType,
    Line,
    Plane,
    Pos,
    Rot,
    Sphere,
    Spline,
    export_step,
    extrude,
    fillet,
    make_face,
)

HERE = Path(__file__).resolve().parent


def forms():
    """Block 60 x 40 x 10 round the origin, ball R8, post R6 with its rim rounded R2, hole R2, wall along a spline."""
    body = Box(60, 40, 10) + Pos(-15, 0, 5) * Sphere(8) + Pos(12, 0, 10) * Cylinder(6, 10)
    rims = [edge for edge in body.edges().filter_by(GeomType.CIRCLE) if abs(edge.radius - 6) < 1e-6]
    body = fillet([max(rims, key=lambda edge: edge.center().Z)], 2) - Pos(-25, -15, 0) * Cylinder(2, 20)
    with BuildPart() as wall:
        with BuildSketch(Plane.XY):
            with BuildLine():
                Spline((20, 12), (25, 17), (28, 13))
                Line((28, 13), (20, 12))
            make_face()
        extrude(amount=9)
    return body + wall.part


def assembly():
    """A box 10 x 20 x 30 turned by 90° about Z at X100, a cylinder R5 of 12 lying along Y at Y50 Z7."""
    box, bar = Pos(100, 0, 0) * Rot(0, 0, 90) * Box(10, 20, 30), Pos(0, 50, 7) * Rot(90, 0, 0) * Cylinder(5, 12)
    return Compound(children=[box, bar])


if __name__ == "__main__":
    export_step(forms(), str(HERE / "forms.step"))
    export_step(assembly(), str(HERE / "assembly.step"))
