"""Values as JSON; Python's own decoder, which takes nothing that is not UTF-8 here, is the oracle."""

import json
import os

import numpy as np
import pytest

from monitor.values import Action
from monitor.values.json_text import json_bytes

ODD = os.fsdecode(b"/media/\xff")


@pytest.mark.parametrize("text", ["Outer main", "\U0001f682 \u00e9", '"</script>', ODD])
def test_any_text_is_json_in_utf_8_and_only_what_cannot_be_is_replaced(text):
    shown = text.replace(ODD, "/media/?")
    value = {"a": [text, float("nan"), np.float64(1.5), 3, None], text: Action(kind="mark", at_s=1.0, text=text)}
    told = json.loads(json_bytes(value).decode("utf-8", "strict"))
    assert told["a"] == [shown, None, 1.5, 3, None]
    assert told[shown]["text"] == shown
