"""Complaints about what is asked of the sheets."""

from halfthou.base.finding import Code

CODES: dict[str, Code] = {
    code.code: code
    for code in (
        Code(code="F901", title="code not known"),
        Code(code="F902", title="report cannot be written"),
        Code(code="F903", title="job file is there already"),
    )
}
