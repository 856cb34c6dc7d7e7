"""What a page asks for with a POST, and the sentence it is answered with."""

from collections.abc import Mapping
from typing import TypeVar

import msgspec
from flask import Response, request
from msgspec import Struct

from monitor.values.json_text import json_bytes

REQUEST_LIMIT_BYTES = 4096
_NEVER_KEPT = {"Cache-Control": "no-store"}
Body = TypeVar("Body", bound=Struct)


def read_request(kind: type[Body], most_bytes: int = REQUEST_LIMIT_BYTES) -> Body:
    """What this request asks for; no more of it is read than that.

    Raises:
        msgspec.MsgspecError: It is something else.
    """
    try:
        return msgspec.json.decode(request.stream.read(most_bytes), type=kind)
    except UnicodeDecodeError as error:
        raise msgspec.DecodeError("it is not UTF-8") from error


def answer(status: int, sentence: str, **more: object) -> Response:
    """A sentence for the person who asked, and more for the page's script."""
    return answer_with(status, {"sentence": sentence, **more})


def answer_with(status: int, fields: Mapping[str, object]) -> Response:
    """The same where there is more to say than a sentence."""
    return Response(json_bytes(fields), status=status, mimetype="application/json", headers=_NEVER_KEPT)
