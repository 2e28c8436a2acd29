"""Complaints of the questions themselves: meshes asked for, many jobs at once."""

from halfthou.base.finding import Code

CODES: dict[str, Code] = {
    code.code: code
    for code in (
        Code(code="F592", title="Mesh format not known"),
        Code(code="F593", title="No such state of the stock"),
        Code(code="F812", title="No job there"),
        Code(code="F813", title="Cluster cannot be reached"),
        Code(code="F814", title="File of a job is another one where the proof runs"),
    )
}
