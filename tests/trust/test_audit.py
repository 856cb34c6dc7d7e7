"""The audit of dependencies, but for the asking itself."""

import json

from tests import audit

OURS = frozenset({"dash", "flask"})


def said(*rows):
    return json.dumps({"dependencies": list(rows), "fixes": []})


def row(name, *vulns):
    return {
        "name": name,
        "version": "1.0",
        "vulns": [{"id": i, "fix_versions": f, "aliases": [], "description": ""} for i, f in vulns],
    }


def test_only_what_a_newer_version_mends_and_is_ours_counts():
    verdict = audit.judge(
        said(row("Flask", ("PYSEC-1", ["1.1", "2.0"])), row("dash", ("PYSEC-2", [])), row("pip", ("PYSEC-3", ["26.0"]))), OURS
    )
    assert verdict.asked == 2
    assert verdict.mendable == ("flask 1.0: PYSEC-1, mended in 1.1, 2.0",)
    assert verdict.others == ("dash 1.0: PYSEC-2, no remedy so far",)


def test_no_answer_is_told_from_a_good_one():
    assert audit.judge(said(row("dash")), OURS).mendable == ()
    for nothing in ("", "not json", "[]", said(), said({"name": "dash", "skip_reason": "not found"}), said(row("other"))):
        assert audit.judge(nothing, OURS) is None


def test_what_others_need_counts_too():
    found = audit.packages_of("dash", ())
    assert {"flask", "werkzeug", "markupsafe"} <= found


def test_without_a_network_it_says_so_and_passes(monkeypatch, capsys):
    # A proxy that refuses every connection.
    for name in ("HTTPS_PROXY", "https_proxy", "HTTP_PROXY", "http_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    monkeypatch.setattr(audit, "packages_of", lambda *_: OURS)
    assert audit.main() == 0
    assert "WERE NOT AUDITED" in capsys.readouterr().out
