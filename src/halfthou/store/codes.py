"""Complaints of the memory: where results are kept."""

from halfthou.base.finding import Code

CODES: dict[str, Code] = {"F811": Code(code="F811", title="Results cannot be kept there")}
