"""What must never reach a record, a log or a screen: passwords in addresses."""

import re

# Lengths are bounded, or a long line without any address would take minutes.  A password may hold
# any sign but a blank, a slash and another @ among them.
_CREDENTIALS = re.compile(r"([A-Za-z][A-Za-z0-9+.-]{0,30}://[^\s/@:]{0,100}):\S{0,300}@")
_NAMED = re.compile(r"(?i)\b(password|passwd|pwd|token|secret)=[^\s&;,]+")


def without_password(text: str) -> str:
    """`text` with the passwords of all addresses in it replaced by three stars."""
    hidden = _CREDENTIALS.sub(r"\1:***@", text)
    return _NAMED.sub(r"\1=***", hidden)
