"""Names of sets of primaries and of whites."""

PRIMARIES = {
    "bt709": "BT.709",
    "bt2020": "BT.2020",
    "p3": "P3",
    "adobe-rgb": "Adobe RGB",
    "bt601-525": "BT.601 with 525 lines",
    "bt601-625": "BT.601 with 625 lines",
    None: "those of the rule",
}
WHITES = {"dci": "the cinema's white", "e": "the equal-energy white"}
