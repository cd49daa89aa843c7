"""Tables for spreadsheets and other programs (RFC 4180, with the line ends of this house)."""
