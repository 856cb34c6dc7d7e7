"""Values as JSON, whatever names of files and ports stand in them."""

import json

import msgspec


def json_bytes(value: object) -> bytes:
    """JSON in UTF-8; figures may be of a kind of float of their own, and what is not UTF-8 in a name becomes a question mark.

    POSIX allows any bytes in a file's name; JSON that others read is UTF-8 (RFC 8259, section 8.1).
    """
    try:
        return msgspec.json.encode(value, enc_hook=float)
    except UnicodeEncodeError:
        text = json.dumps(msgspec.to_builtins(value, enc_hook=float), ensure_ascii=False)
        return msgspec.json.encode(json.loads(text.encode("utf-8", "replace")))
