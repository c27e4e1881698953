# SPDX-License-Identifier: MIT
"""How long news takes from file to phone can be told stage by stage: the program of tests/bench finds each in the log."""
import sys

from daemon import ROOT, binary

sys.path.insert(0, str(ROOT / "tests/bench"))
import delivery  # noqa: E402


def test_each_stage_of_a_notice_stands_in_the_log_in_its_order(tmp_path, capsys):
    found = delivery.measure(binary(), tmp_path, ["st00", "st01"], days=2)
    for kind in ("hook", "mail"):
        assert len(found[kind]) == 2
        for moments in found[kind]:
            assert len(moments) == len(delivery.STAGES) and 0 <= moments[0] and moments == sorted(moments)
    delivery.print_table(found, 2)
    table = capsys.readouterr().out
    assert all(words in table for words in delivery.WORDS.values()) and "2 files of 2 days" in table


def test_a_webhooks_answer_is_heard_between_the_charts_of_mails(tmp_path, monkeypatch):
    plain = delivery.settings

    def with_six_mails_more(*arguments):
        others = [f"other-{k}" for k in range(6)]
        text = plain(*arguments).replace("tell: [hook-st00, mail-st00]", f"tell: [hook-st00, {', '.join(others)}, mail-st00]")
        return text + "".join(f"  {other}: {{mail: {other}@example.org}}\n" for other in others)

    monkeypatch.setattr(delivery, "settings", with_six_mails_more)
    found = delivery.measure(binary(), tmp_path, ["st00"], days=2)
    heard, last_begun = found["hook"][0][-1], found["mail"][0][-2]
    assert heard < last_begun
