"""Every code of the file doors: its title and severity. Each has a page in docs/codes."""

from halfthou.base.finding import Code

_TITLES = {
    # any file that a shop types
    "F001": "File not found or not readable",
    "F002": "Not valid TOML",
    "F003": "Unknown key",
    "F004": "A key is missing",
    "F005": "Wrong kind of value",
    "F006": "Not one of the known words",
    "F007": "Outside the plausible band",
    "F008": "Units not stated",
    "F009": "Impossible number",
    "F010": "Format not known",
    # shop
    "F101": "Machine not in the shop file",
    "F102": "Named twice",
    "F103": "Spindle curve does not hold together",
    "F104": "Machine code not understood",
    # job
    "F201": "No operation",
    "F202": "Unknown operation or place",
    "F203": "Work offset not known",
    "F204": "Turn not understood",
    "F205": "Tools given twice or not at all",
    "F206": "Body mesh is no closed solid",
    # tools
    "F301": "Decimal comma",
    "F302": "Table does not hold together",
    "F303": "Two tools with one number",
    "F304": "Tool does not fit together",
    "F305": "Unknown holder or tool",
    "F306": "Meaning of the radius register not stated",
    "F307": "Length registers do not hold together",
    # tables as found
    "F401": "Found twice",
    # programs and designs
    "F501": "Program is empty",
    "F502": "Design or mesh not readable",
    "F503": "Mesh is not closed",
    "F504": "Units of a mesh not stated or contradicted",
    "F505": "Surface of the design not found",
    # times read at the machine
    "F701": "Time not readable or running backwards",
    "F702": "Times do not fit the program",
    # spindle loads read at the machine
    "F711": "Load reading cannot be used",
    "F712": "Load readings do not fit the program",
    # files we write
    "F591": "Mesh cannot be written",
    "F601": "Earlier proof cannot be read",
}

CODES: dict[str, Code] = {key: Code(code=key, title=title) for key, title in _TITLES.items()}
