"""``knowngood paper`` as typed: from check-in to money received, and a paying customer."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
from contextlib import redirect_stderr, redirect_stdout
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from pypdf import PdfReader

from knowngood.cli import main
from knowngood.places import decision
from knowngood.places.bench import CheckIn, open_job, take_reading
from knowngood.places.library import find_machine, find_meter
from knowngood.places.parts import take_list, try_list
from knowngood.places.record import Record
from knowngood.shop.claim_check import WANTED
from knowngood.shop.programme_file import parse_programme
from tests.places.conftest import SMALL, at
from tests.places.test_paperwork import PRICES

GUIDE = Path(__file__).parent.parent.parent / "docs" / "programme-files.md"


def worked_file() -> str:
    found = re.search(r"```yaml\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.S)
    assert found is not None
    return found[1]


@pytest.fixture(name="shop")
def _shop(tmp_path: Path) -> Path:
    with Record.open(tmp_path / "shop.db") as record:
        check_in = CheckIn(
            find_machine(str(SMALL)), "dead", "it is dead", find_meter("generic-6000"),
            serial="5120", model="BT-5", number="26-0001",
        )  # fmt: skip
        open_job(record, check_in, at(), "j")
        trial = try_list(record, "Brackwater", "USD", PRICES.encode(), "list.csv", None)
        take_list(record, trial, PRICES, at())
        take_reading(record, "j", "pack_rest", "57.9 V", at(3))
        take_reading(record, "j", "box_ohms", "OL", at(9))
        take_reading(record, "j", "box_ohms", "OL", at(9))
        decision.decide(record, "j", at(10))
    (tmp_path / "brackwater.yaml").write_text(worked_file(), encoding="utf-8")
    return tmp_path


def typed(shop: Path, *words: str) -> tuple[int, str, str]:
    """What the command prints, in this process, with the shop's folder as the current one."""
    out, err = io.StringIO(), io.StringIO()
    here = Path.cwd()
    os.chdir(shop)
    try:
        with redirect_stdout(out), redirect_stderr(err):
            options = [] if words[0] == "check" else ["--store", str(shop / "shop.db")]
            code = main(["paper", *words, *options])
    finally:
        os.chdir(here)
    return code, out.getvalue(), err.getvalue()


def test_the_worked_file_of_the_guide_is_right_and_names_everything() -> None:
    programme, problems = parse_programme(worked_file(), "guide")
    assert programme is not None, problems
    for id_ in WANTED:
        assert f"`{id_}`" in GUIDE.read_text(encoding="utf-8")


def test_from_cover_to_money(shop: Path) -> None:
    assert typed(shop, "cover", "--job", "26-0001")[0] == 2  # no programme yet
    code, out, _ = typed(shop, "under", "brackwater.yaml", "--job", "26-0001")
    assert code == 0
    assert out.startswith("Can't say: what it is used for")
    failed = date.today() - timedelta(days=3)
    code, out, _ = typed(
        shop, "cover", "--job", "26-0001", "--use", "household",
        "--bought", f"{date.today() - timedelta(days=400)}", "--failed", str(failed),
        "--proof", "receipt with a date", "--no", "water", "--no", "opened",
    )  # fmt: skip
    assert code == 0
    assert out.startswith("Covered: until")
    assert "ask your local rule" in out
    code, out, _ = typed(shop, "due")
    assert (code, out.count("\n")) == (0, 1)
    assert "26-0001: send the claim, still missing: why it failed" in out
    code, out, _ = typed(
        shop, "claim", "--job", "26-0001", "--send", "--number", "CL-7", "--out", "claim.pdf"
    )
    assert code == 0
    assert "Claim: sent today, no answer yet" in out and "release checks (page one says" in out
    assert "missing: why it failed (answer the causes to clear); at risk " in out
    worth = re.search(r"Worth (\S+) USD", out)
    assert worth is not None
    text = pdf_text(shop / "claim.pdf")
    assert "Brackwater outdoor cover" in text
    assert "CL-7" in text
    assert f"{worth[1]} USD" in text
    code, _, err = typed(shop, "answer", "denied", "--job", "26-0001")
    assert (code, "needs the reason" in err) == (2, True)
    assert typed(shop, "answer", "denied", "--job", "26-0001", "--reason", "=late")[0] == 0
    out = typed(shop, "claims")[1]
    assert f"{worth[1]} USD asked, denied: =late; 0.00 received" in out
    assert "refused by Brackwater outdoor cover: 1 for =late" in out
    assert ",'=late\r\n" in typed(shop, "claims", "--csv")[1].replace("\r\r\n", "\r\n")
    assert typed(shop, "answer", "accepted", "--job", "26-0001")[0] == 0
    assert "is owed on this claim" in typed(shop, "paid", "999", "--job", "26-0001")[2]
    code, out, _ = typed(shop, "paid", worth[1], "--job", "26-0001")
    assert out == "Claim: accepted, paid\n"
    done = typed(shop, "claim", "--job", "26-0001")[1]
    assert "send the claim" not in done and "at risk" not in done  # nothing is, any more
    code, out, _ = typed(shop, "undo", "--job", "26-0001", "--reason", "wrong job")
    assert (code, out) == (0, "taken back: money of the programme\n")
    assert "is not here yet" in typed(shop, "due")[1]
    assert f"owed up to 30 days: {worth[1]} USD" in typed(shop, "claims")[1]
    assert typed(shop, "sheet", "--out", "day.pdf") == (0, "written: day.pdf\n", "")
    assert "26-0001" in pdf_text(shop / "day.pdf")
    assert typed(shop, "sheet", "--out", "nowhere/day.pdf")[0] == 2


def pdf_text(file: Path) -> str:
    try:
        done = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True)
    except FileNotFoundError:
        pytest.skip("pdftotext is missing: install poppler-utils")
    return done.stdout.decode()


def test_a_question_is_answered_yes_or_no_and_not_both(shop: Path) -> None:
    assert typed(shop, "under", "brackwater.yaml", "--job", "26-0001")[0] == 0
    both = ("--yes", "water", "--no", "opened", "--no", "water")
    code, out, err = typed(shop, "cover", "--job", "26-0001", *both)
    assert (code, out) == (2, "") and "water: --yes or --no, one of both" in err
    with Record.open(shop / "shop.db") as record:
        assert not record.log.of_kinds(["CoverNoted"])


def test_a_paying_customer_whose_estimate_is_exceeded(shop: Path) -> None:
    job = ("--job", "26-0001", "--currency", "USD", "--tax", "sales=8.25")
    first = ("--line", "labour; found and replaced; 45.00", "--line", "part; box; 42.00; sales")
    code, out, _ = typed(shop, "estimate", *job, *first)
    assert code == 0
    assert "STOP: 90.47 USD and nobody has agreed yet" in out
    compared = ("--new", "450", "--years", "4", "--years-new", "8")
    assert "repaired 22.62 USD a year over 4.0 years, new 56.25" in typed(
        shop, "estimate", *job, *compared
    )[1]  # fmt: skip
    assert "above 0" in typed(shop, "estimate", *job, "--new", "450")[2]
    code, out, _ = typed(shop, "agree", "Mr. Vale", "--job", "26-0001", "--how", "by phone")
    assert "90.47 USD: Mr. Vale agreed to 90.47 USD" in out
    code, out, _ = typed(shop, "estimate", *job, *first, "--line", "part; cable; 9.90; sales")
    assert "STOP: 101.18 USD is 10.71 USD above what Mr. Vale agreed to" in out
    assert "nobody has agreed yet, estimate of" in typed(shop, "due")[1]
    assert typed(
        shop, "agree", "Mr. Vale", "--job", "26-0001", "--how", "by phone", "--up-to", "101,18"
    )[0] == 0  # fmt: skip
    code, out, _ = typed(shop, "took", "101.18", "--job", "26-0001", "--way", "card")
    assert "paid 101.18 USD; left 0.00 USD" in out
    assert typed(shop, "took", "-101.19", "--job", "26-0001")[0] == 2


def test_an_estimate_from_the_plan(shop: Path, tmp_path: Path) -> None:
    job = ("--job", "26-0001", "--currency", "USD")
    out = tmp_path / "estimate.pdf"
    code, said, err = typed(shop, "estimate", *job, "--from-plan")
    assert (code, said) == (2, "")  # the usual rate is no money of this shop: asked first
    assert "before it is money: the shop's rate is not set, 90.00 an hour is only the usual" in err
    assert "--rate 90.00 says it here; for good, set it on the phone under Counter" in err
    job = (*job, "--rate", "90")
    code, said, _ = typed(
        shop, "estimate", *job, "--from-plan", "--deposit", "50", "--new", "450", "--years", "4",
        "--years-new", "8", "--out", str(out),
    )  # fmt: skip
    assert code == 0
    assert said.startswith("About ") and "in 9 of 10 such jobs at most" in said
    assert "Deposit before a part is ordered: 21.00 USD (21.00 USD of it to come)" in said
    assert "a new one costs less a year" in said or "repair costs less a year" in said
    assert "STOP:" in said and "Estimated total" in pdf_text(out)
    assert "1 x Start box BW-210" in pdf_text(out)
    # The rate given goes for every line of the plan: by hand, 10 % of the box at 42.00 is 4.20.
    code, said, _ = typed(shop, "estimate", *job, "--from-plan", "--tax", "sales=10")
    labour = re.search(r"find and mend.*: ([\d.]+) USD", said)
    assert code == 0 and labour is not None
    assert f"sales tax, 10 %: {(Decimal(labour[1]) + 42) / 10:.2f} USD" in said
    code, said, _ = typed(shop, "estimate", *job, "--from-plan", "--tax", "rounding=0.05")
    assert code == 0 and "sales tax" not in said and "Total 88.50 USD" in said
    two = typed(shop, "estimate", *job, "--from-plan", "--tax", "sales=10", "--tax", "eco=1")
    assert two[0] == 2 and "which of sales, eco is for which line?" in two[2]
    both = typed(shop, "estimate", *job, "--from-plan", "--line", "part; box; 1.00")
    assert both[0] == 2 and "one of both" in both[2]
    assert "a bad case of 1.00 USD is below" in typed(
        shop, "estimate", *job, "--line", "part; box; 2.00", "--bad-case", "1"
    )[2]  # fmt: skip
    euros = typed(shop, "estimate", "--job", "26-0001", "--currency", "EUR", "--from-plan")
    assert euros[0] == 2 and "the job is in USD, not EUR" in euros[2]


def test_a_price_that_no_list_has_is_asked_for_on_the_terminal(shop: Path) -> None:
    with Record.open(shop / "shop.db") as record:
        decision.decide(record, "j", at(20), "controller")  # on no price list; 160 is an example
    job = ("--job", "26-0001", "--currency", "USD", "--from-plan", "--rate", "60")
    code, said, err = typed(shop, "estimate", *job)
    assert (code, said) == (2, "")
    assert "the price of the controller is the machine file's, no list's in USD" in err
    assert "--price 84.00 says what you ask for the controller; nothing was stored" in err
    code, said, _ = typed(shop, "estimate", *job, "--price", "151,50")
    assert code == 0 and re.search(r"1 x Controller.*: 151\.50 USD", said)
    assert typed(shop, "estimate", *job, "--price", "-1")[0] == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("check", "no.yaml"), "cannot be read"),
        (("under", "brackwater.yaml", "--job", "26-0009"), "26-0001"),
        (("estimate", "--job", "26-0001", "--currency", "USD", "--line", "box"), "is no line"),
        (("estimate", "--job", "26-0001", "--currency", "USD", "--line", "x; box; 1"), "no kind"),
        (("estimate", "--job", "26-0001", "--currency", "USD", "--line", "part; box; 1,000"),
         "1000.00 or 1.0000"),
        (("estimate", "--job", "26-0001", "--currency", "USD", "--line", "part; box; 1",
          "--tax", "sales"), "is no tax"),
        (("answer", "perhaps", "--job", "26-0001"), "it may be accepted"),
        (("took", "5", "--job", "26-0001"), "no estimate yet"),
        (("undo", "--job", "26-0001"), "nothing to take back|no claim"),
    ],
)  # fmt: skip
def test_bad_input_says_the_way_out(shop: Path, words: tuple[str, ...], said: str) -> None:
    code, _, err = typed(shop, *words)
    assert code == 2
    assert re.search(said, err)


def test_a_broken_file_is_listed_line_by_line(shop: Path) -> None:
    text = worked_file().replace("claim_days: 30", "claim_days: soon").replace("wants", "want")
    text = text.replace("[pack, charger]", "[pack, chargr]")
    (shop / "broken.yaml").write_text(text, encoding="utf-8")
    code, _, err = typed(shop, "check", "broken.yaml")
    assert code == 2
    assert "claim_days is 'soon'" in err
    assert "want is not known. Did you mean wants?" in err
    assert re.search(r"line 14: battery names chargr, .* Did you mean charger\? Groups go by", err)


def test_the_claim_carries_its_data(shop: Path) -> None:
    """PDF/A-3 (ISO 19005-3) lets a file of any kind ride inside, named in the catalogue."""
    typed(shop, "under", "brackwater.yaml", "--job", "26-0001")
    typed(shop, "codes", "--job", "26-0001", "--mode", "M05", "--cause", "C04", "--action", "A01")
    assert typed(shop, "claim", "--job", "26-0001", "--out", "claim.pdf")[0] == 0
    reader = PdfReader(shop / "claim.pdf")
    assert list(reader.attachments) == ["claim-26-0001.json"]
    data = json.loads(reader.attachments["claim-26-0001.json"][0])
    assert (data["form"], data["job"], data["machine"]["serial"]) == (1, "26-0001", "5120")
    assert data["codes"]["mode"] == "M05"
    assert [tuple(p.values()) for p in data["parts"]] == [("Start box", "BW-210", "", True)]
    assert [(r["text"], r["kind"], r["verdict"]) for r in data["readings"]] == [
        ("OL", "over", "bad")
    ] * 2
    metadata = reader.xmp_metadata
    assert metadata is not None
    part = metadata.rdf_root.toxml()
    assert "<pdfaid:part>3</pdfaid:part>" in part
    assert f"{data['asked']['total']} USD" in pdf_text(shop / "claim.pdf")


def test_a_letter_and_the_failed_part_from_the_terminal(shop: Path) -> None:
    job = ("--job", "26-0001")
    code, out, _ = typed(shop, "mail", *job, "--about", "ready")
    assert code == 0 and "Not sent. With --send it goes out." in out
    assert "no address" in typed(shop, "mail", *job, "--about", "ready", "--send")[2]
    code, out, _ = typed(
        shop, "mail", *job, "--about", "ready", "--to", "rosa@mail.example", "--send"
    )
    assert code == 0 and "(file " in out
    assert typed(shop, "mail", *job, "--about", "advert")[0] == 2
    code, out, _ = typed(shop, "part", *job, "--where", "shelf 3", "--tested", "open")
    assert code == 0 and "tagged 26-0001" in out and "shelf 3 open" in out
    assert typed(shop, "part", *job, "--gone", "eaten")[0] == 2
    assert "scrapped" in typed(shop, "part", *job, "--gone", "scrapped", "--why", "old")[1]
    assert "taken back: the end of the failed part" in typed(shop, "undo", *job)[1]
    assert "gone already" not in typed(shop, "part", *job, "--gone", "scrapped", "--why", "old")[2]


def test_what_of_the_archive_standard_can_be_read_off_the_file(shop: Path) -> None:
    """ISO 19005-3 as far as a general reader can tell: 6.2.3 one output intent with its profile,
    6.2.11 every font program inside, 6.1.3 no encryption and an identifier, 6.8 each attached file
    with its relationship and kind (6.x from memory). No independent validator of the whole standard
    is in the package registries; docs/paperwork.md says so."""
    typed(shop, "under", "brackwater.yaml", "--job", "26-0001")
    assert typed(shop, "claim", "--job", "26-0001", "--out", "claim.pdf")[0] == 0
    reader = PdfReader(shop / "claim.pdf")
    root = reader.trailer["/Root"].get_object()
    intents = [one.get_object() for one in root["/OutputIntents"]]
    assert [one["/S"] for one in intents] == ["/GTS_PDFA1"]
    profile = intents[0]["/DestOutputProfile"].get_object().get_data()
    assert profile[36:40] == b"acsp"  # the signature of an ICC profile, ISO 15076-1, 7.2.11
    assert "/Encrypt" not in reader.trailer and len(reader.trailer["/ID"]) == 2
    assert root["/MarkInfo"]["/Marked"] and root["/Lang"] and "/StructTreeRoot" in root
    assert "/JavaScript" not in root.get("/Names", {}) and "/OpenAction" not in root
    (spec,) = [one.get_object() for one in root["/AF"]]
    assert spec["/AFRelationship"] == "/Data" and spec["/F"] and spec["/UF"]
    inside = spec["/EF"]["/F"].get_object()
    assert inside["/Subtype"].replace("#2f", "/") == "/application/json"
    fonts = 0
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            descriptor = inner["/FontDescriptor"].get_object()
            assert {"/FontFile2", "/FontFile3"} & set(descriptor), font
            fonts += 1
    assert fonts


def test_how_an_estimate_stands_needs_no_currency(shop: Path) -> None:
    job = ("--job", "26-0001")
    line = ("--line", "part; box; 42.00")
    code, _, err = typed(shop, "estimate", *job, *line)
    assert (code, "needs its currency: --currency USD" in err) == (2, True)
    assert typed(shop, "estimate", *job, *line, "--currency", "USD")[0] == 0
    code, out, _ = typed(shop, "estimate", *job, "--new", "450", "--years", "4", "--years-new", "8")
    assert code == 0
    assert "Total 42.00 USD" in out and "new 56.25" in out
    code, out, err = typed(shop, "estimate", *job, "--currency", "EUR")
    assert (code, out) == (2, "")
    assert "the estimate of this job is in USD, not EUR" in err


def test_a_programmes_word_and_the_claims_words_from_the_terminal(shop: Path) -> None:
    job = ("--job", "26-0001")
    assert typed(shop, "approved", "100", *job)[0] == 2  # no programme is chosen yet
    typed(shop, "under", "brackwater.yaml", *job)
    code, out, _ = typed(shop, "approved", "300", *job, "--who", "J. Vale", "--number", "PA-118")
    assert code == 0 and "Claim: not sent yet" in out
    code, out, _ = typed(shop, "words", *job, "--cause", "Contact burnt open", "--by", "Sam")
    assert code == 0 and "Cause: Contact burnt open" in out and "it is dead" in out
    assert typed(shop, "claim", *job, "--out", "claim.pdf")[0] == 0
    text = pdf_text(shop / "claim.pdf")
    assert "Contact burnt open" in text and "worded by Sam" in text
    out = typed(shop, "words", *job, "--as-recorded")[1]
    assert "Contact" not in out and "Cause: Start box" in out
    assert "no words of this claim are set aside" in typed(shop, "words", *job, "--again")[2]


def test_a_no_from_the_terminal(shop: Path) -> None:
    job = ("--job", "26-0001")
    typed(shop, "estimate", *job, "--currency", "USD", "--line", "labour; mend; 80")
    out = typed(shop, "agree", "Mr. Vale", *job, "--how", "by phone", "--no")[1]
    assert "STOP: Mr. Vale said no to 80.00 USD (by phone): hand it back unrepaired" in out


def test_the_shops_taxes_and_what_is_taken_back(shop: Path) -> None:
    job = ("--job", "26-0001")
    assert "no taxes are set" in typed(shop, "taxes")[1]
    assert "which of a, b is for labour" in typed(shop, "taxes", "--tax", "a=1, b=2")[2]
    code, out, _ = typed(shop, "taxes", "--tax", "sales=8.25", "--for", "labour=none")
    assert code == 0
    assert out.splitlines() == [
        "sales 8.25 %: part", "no tax: labour, fee, credit",
        "tax comes on top; rounded on the total of a rate, half up",
    ]  # fmt: skip
    assert typed(shop, "taxes")[1] == out
    lines = ("--line", "labour; mend; 45.00", "--line", "part; box; 42.00")
    out = typed(shop, "estimate", *job, "--currency", "USD", *lines)[1]
    assert "90.47 USD" in out  # 8.25 % of 42 is 3.465
    bare = ("--line", "part; box; 42.00; none")
    assert "42.00 USD" in typed(shop, "estimate", *job, "--currency", "USD", *bare)[1]
    assert typed(shop, "agree", "Mr. Vale", *job, "--how", "by phone", "--up-to", "50")[0] == 0
    said = "taken back: Mr. Vale agreed to 50 USD (by phone)\n"
    assert typed(shop, "undo", *job)[:2] == (0, said)
    assert typed(shop, "undo", *job)[1] == "taken back: estimate of 42.00 USD\n"
    assert "90.47 USD" in typed(shop, "estimate", *job)[1]
    assert typed(shop, "undo", *job)[0] == 0
    assert "nothing to take back" in typed(shop, "undo", *job)[2]
    assert "no taxes are set" in typed(shop, "taxes", "--none")[1]


def test_cover_before_a_programme_is_chosen_is_noted_and_codes_of_labour_wait(shop: Path) -> None:
    job = ("--job", "26-0001")
    code, out, err = typed(shop, "cover", *job, "--use", "household", "--hours", "41")
    assert (code, err) == (0, "") and "Noted; no programme is chosen on this job yet" in out
    code, _, err = typed(shop, "cover", *job, "--no", "watter")
    assert code == 2 and "no question 'watter'; no programme is chosen on this job" in err
    for hours in ("lots", "-5"):
        code, _, err = typed(shop, "cover", *job, f"--hours={hours}")
        assert code == 2 and "write a number, as 41" in err
    code, _, err = typed(shop, "codes", *job, "--labour", "L99")
    assert code == 2 and "so its labour codes are not known; choose it first" in err
    _, out, _ = typed(shop, "codes", *job)
    assert out.startswith("Chosen: none yet\n") and "paper under FILE --job 26-0001" in out
    assert "what it is used for" not in typed(shop, "under", "brackwater.yaml", *job)[1]
    typed(shop, "codes", *job, "--mode", "M05", "--labour", "L20")
    _, out, _ = typed(shop, "codes", *job)
    assert out.startswith("Chosen: mode M05, labour L20\n")
    assert out.endswith("--labour\n  L20 drive board, 30 min\n")
