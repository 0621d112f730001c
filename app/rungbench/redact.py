"""What must never reach a record, a log or a screen: passwords in addresses."""

import re

# The scheme's length is bounded, or a long line without any address would take minutes.
_CREDENTIALS = re.compile(r"([A-Za-z][A-Za-z0-9+.-]{0,30}://[^\s/@:]*):[^\s/]*@")
_NAMED = re.compile(r"(?i)\b(password|passwd|pwd|token|secret)=[^\s&;,]+")


def without_password(text: str) -> str:
    """`text` with the passwords of all addresses in it replaced by three stars."""
    hidden = _CREDENTIALS.sub(r"\1:***@", text)
    return _NAMED.sub(r"\1=***", hidden)
