"""``knowngood paper``: cover, claim, estimate and money of a job, and what its papers wait for.

Exit codes: 0 done; 2 the input is wrong, each problem on a line of its own, nothing stored.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

paper_app = typer.Typer(
    help="Cover, claim, estimate and money of the jobs.", rich_markup_mode=None
)

Job = Annotated[str, typer.Option("--job", help="Number of the job.")]
Store = Annotated[
    Path | None,
    typer.Option("--store", help="The record of the jobs; else KNOWNGOOD_STORE, else your own."),
]
By = Annotated[str, typer.Option("--by", help="Who enters this.")]
TAXES = "A rate, as sales=8.25; included, half even, down, rounding=0.05 (of the tax)."
On = Annotated[str, typer.Option("--on", help="Day, as 2026-05-04; else today.")]
Json = Annotated[bool, typer.Option("--json", help="Answer as JSON, for scripts.")]


@paper_app.command("check")
def check_command(
    file: Annotated[Path, typer.Argument(help="A warranty programme, or a list of notices.")],
    store: Store = None,
) -> int:
    """List every problem of a programme file with its line and the way out."""
    from knowngood.cli.paperwork import check

    return check(file, store)


@paper_app.command("under")
def under_command(
    file: Annotated[Path, typer.Argument(help="The programme file that covers this machine.")],
    job: Job,
    store: Store = None,
    by: By = "",
) -> int:
    """Put a job under a programme; the file is kept with the job as it is today."""
    from knowngood.cli.paperwork import under

    return under(file, job, store, by)


@paper_app.command("keep")
def keep_command(
    file: Annotated[Path, typer.Argument(help="A warranty programme, or a list of notices.")],
    notices: Annotated[bool, typer.Option("--notices", help="It is a list of recalls.")] = False,
    store: Store = None,
    by: By = "",
) -> int:
    """Go by this programme (or list of recalls) from now on: it is asked at check-in."""
    from knowngood.cli.shop_files import keep

    return keep(file, notices, store, by)


@paper_app.command("kept")
def kept_command(
    drop: Annotated[str, typer.Option("--drop", help="Go by this one no longer.")] = "",
    reason: Annotated[str, typer.Option(help="Why.")] = "",
    store: Store = None,
    by: By = "",
) -> int:
    """The programmes and the list of notices that the shop goes by."""
    from knowngood.cli.shop_files import kept

    return kept(drop, reason, store, by)


@paper_app.command("cover")
def cover_command(
    job: Job,
    use: Annotated[str, typer.Option(help="household, commercial or rental.")] = "",
    purchased: Annotated[
        str, typer.Option("--purchased", "--bought", help="Day, as 2026-05-04.")
    ] = "",
    delivered: Annotated[str, typer.Option(help="Day it was handed over.")] = "",
    made: Annotated[str, typer.Option(help="Day it was made.")] = "",
    failed: Annotated[str, typer.Option(help="Day it failed.")] = "",
    hours: Annotated[str, typer.Option(help="Hours of use.")] = "",
    proof: Annotated[list[str] | None, typer.Option(help="A proof in hand; may repeat.")] = None,
    yes: Annotated[list[str] | None, typer.Option(help="Question answered yes.")] = None,
    no: Annotated[list[str] | None, typer.Option(help="Question answered no.")] = None,
    store: Store = None,
    by: By = "",
) -> int:
    """Note what cover depends on (- takes back), and say what the programme makes of it."""
    from knowngood.cli.paperwork import cover
    from knowngood.job.paperwork import CoverNoted

    if both := sorted({*(yes or [])} & {*(no or [])}):
        raise typer.BadParameter(f"{', '.join(both)}: --yes or --no, one of both")
    answers = {**dict.fromkeys(yes or [], "yes"), **dict.fromkeys(no or [], "no")}
    noted = CoverNoted(
        use, purchased, delivered, made, failed, hours, tuple(proof or ()), answers
    )
    return cover(job, noted, store, by)


@paper_app.command("codes")
def codes_command(
    job: Job,
    mode: Annotated[str, typer.Option(help="Failure mode, as M05.")] = "",
    cause: Annotated[str, typer.Option(help="Cause, as C04.")] = "",
    action: Annotated[str, typer.Option(help="What was done, as A01.")] = "",
    labour: Annotated[str, typer.Option(help="The programme's labour code.")] = "",
    store: Store = None,
    by: By = "",
) -> int:
    """Choose the codes of the claim; without any, list those there are."""
    from knowngood.cli.paperwork import codes
    from knowngood.job.paperwork import CodesChosen

    return codes(job, CodesChosen(mode, cause, action, labour), store, by)


@paper_app.command("claim")
def claim_command(
    job: Job,
    out: Annotated[Path | None, typer.Option("--out", help="Write the claim as PDF.")] = None,
    send: Annotated[bool, typer.Option("--send", help="Note that it went out.")] = False,
    number: Annotated[str, typer.Option(help="The programme's number of the claim.")] = "",
    on: On = "",
    store: Store = None,
    by: By = "",
) -> int:
    """What the claim is worth, what it lacks and what that puts at risk, and how it stands."""
    from knowngood.cli.paperwork import claim

    return claim(job, out, send, number, store, by, on)


@paper_app.command("words")
def words_command(
    job: Job,
    complaint: Annotated[str, typer.Option(help="As the claim should say it.")] = "",
    cause: Annotated[str, typer.Option(help="As the claim should say it.")] = "",
    correction: Annotated[str, typer.Option(help="As the claim should say it.")] = "",
    as_recorded: Annotated[
        bool, typer.Option("--as-recorded", help="All three from the record again.")
    ] = False,
    again: Annotated[
        bool, typer.Option("--again", help="Take words set aside for another part again.")
    ] = False,
    store: Store = None,
    by: By = "",
) -> int:
    """Complaint, cause and correction of the claim; what is given is worded anew."""
    from knowngood.cli.claim_words import claim_words
    from knowngood.job.paperwork import ClaimWorded

    worded = ClaimWorded(complaint, cause, correction)
    return claim_words(job, worded, as_recorded, store, by, again)


@paper_app.command("answer")
def answer_command(
    reply: Annotated[str, typer.Argument(help="accepted, short-paid or denied.")],
    job: Job,
    granted: Annotated[str, typer.Option(help="Amount that is granted.")] = "",
    reason: Annotated[str, typer.Option(help="As the programme gave it.")] = "",
    on: On = "",
    store: Store = None,
    by: By = "",
) -> int:
    """Note what the programme answered."""
    from knowngood.cli.paperwork import answer

    return answer(job, reply, granted, reason, store, by, on)


@paper_app.command("paid")
def paid_command(
    amount: Annotated[str, typer.Argument(help="What came in from the programme.")],
    job: Job,
    on: On = "",
    store: Store = None,
    by: By = "",
) -> int:
    """Note money of the programme."""
    from knowngood.cli.paperwork import paid

    return paid(job, amount, store, by, on)


@paper_app.command("estimate")
def estimate_command(
    job: Job,
    currency: Annotated[str, typer.Option(help="As USD; needed to write one.")] = "",
    line: Annotated[
        list[str] | None,
        typer.Option(help='"part; drive board; 84.00; sales": kind, words, price, tax (or none).'),
    ] = None,
    tax: Annotated[list[str] | None, typer.Option(help=TAXES)] = None,
    tax_on: Annotated[str, typer.Option(help="line or total: where it is rounded.")] = "",
    new: Annotated[str, typer.Option(help="Price of a new machine, to compare.")] = "",
    years: Annotated[float, typer.Option(help="Years expected after the repair.")] = 0.0,
    years_new: Annotated[float, typer.Option(help="Years expected of a new one.")] = 0.0,
    bad_case: Annotated[str, typer.Option(help="With tax, 9 of 10 such jobs cost no more.")] = "",
    deposit: Annotated[str, typer.Option(help="Percent of the parts, before ordering.")] = "",
    from_plan: Annotated[
        bool, typer.Option("--from-plan", help="Lines and bad case from the plan's minutes.")
    ] = False,
    rate: Annotated[str, typer.Option(help="From the plan: what you ask for an hour.")] = "",
    price: Annotated[
        list[str] | None,
        typer.Option(help='What you ask for the part; of another "main fuse=3.50"; may repeat.'),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="As PDF; once it is closed, the invoice.")
    ] = None,
    store: Store = None,
    by: By = "",
) -> int:
    """Write the estimate from its lines or from the plan; without either, say how it stands."""
    from knowngood.cli.estimate import Asked, estimate

    asked = Asked(
        currency, tuple(line or []), tuple(tax or []), tax_on, new, years, years_new, bad_case,
        deposit, from_plan, out, rate, tuple(price or []),
    )  # fmt: skip
    return estimate(job, asked, store, by)


@paper_app.command("agree")
def agree_command(
    who: Annotated[str, typer.Argument(help="Who agreed.")],
    job: Job,
    how: Annotated[str, typer.Option(help="by phone, in the shop, by mail.")],
    up_to: Annotated[str, typer.Option(help="Up to what; else the estimate.")] = "",
    no: Annotated[bool, typer.Option("--no", help="The customer said no.")] = False,
    store: Store = None,
    by: By = "",
) -> int:
    """Note the customer's word."""
    from knowngood.cli.paperwork import agreed

    return agreed(job, who, how, up_to, store, by, no)


@paper_app.command("approved")
def approved_command(
    amount: Annotated[str, typer.Argument(help="Up to what; 0 takes it back.")],
    job: Job,
    who: Annotated[str, typer.Option(help="Who of the programme said so.")] = "",
    number: Annotated[str, typer.Option(help="The number they gave.")] = "",
    store: Store = None,
    by: By = "",
) -> int:
    """Note the programme's word before the work."""
    from knowngood.cli.paperwork import approved

    return approved(job, amount, who, number, store, by)


@paper_app.command("took", context_settings={"ignore_unknown_options": True})
def took_command(
    amount: Annotated[str, typer.Argument(help="What the customer paid; below zero: given back.")],
    job: Job,
    way: Annotated[str, typer.Option(help="cash, card, transfer.")] = "",
    on: On = "",
    store: Store = None,
    by: By = "",
) -> int:
    """Note money of the customer."""
    from knowngood.cli.paperwork import took

    return took(job, amount, way, store, by, on)


@paper_app.command("mail")
def mail_command(
    job: Job,
    about: Annotated[str, typer.Option(help="estimate, part, ready or claim.")] = "estimate",
    to: Annotated[str, typer.Option(help="Address; else the one noted at the counter.")] = "",
    send: Annotated[bool, typer.Option("--send", help="Let it go; else it is only shown.")] = False,
    store: Store = None,
    by: By = "",
) -> int:
    """Show a letter to the customer or the programme; with --send it goes out."""
    from knowngood.cli.mail import letter

    return letter(job, about, to, send, store, by)


@paper_app.command("part")
def part_command(
    job: Job,
    where: Annotated[str, typer.Option(help="Where the failed part lies, tagged.")] = "",
    tested: Annotated[str, typer.Option(help="How it tested on the bench.")] = "",
    gone: Annotated[str, typer.Option(help="scrapped, sent to the programme, ...")] = "",
    why: Annotated[str, typer.Option(help="Why, or to whom.")] = "",
    store: Store = None,
    by: By = "",
) -> int:
    """The failed part: its tag, until when it is kept, what became of it."""
    from knowngood.cli.mail import part

    return part(job, where, tested, gone, why, store, by)


@paper_app.command("undo")
def undo_command(
    job: Job,
    reason: Annotated[str, typer.Option(help="Why.")] = "",
    store: Store = None,
    by: By = "",
) -> int:
    """Take back what was entered last on the papers of a job: an estimate, the customer's word,
    codes, the choice of a programme, a claim, an answer, a payment, a part let go."""
    from knowngood.cli.paperwork import undo

    return undo(job, reason, store, by)


@paper_app.command("taxes")
def taxes_command(
    tax: Annotated[list[str] | None, typer.Option(help=TAXES)] = None,
    of: Annotated[
        list[str] | None, typer.Option("--for", help="labour=none, part=sales; may repeat.")
    ] = None,
    tax_on: Annotated[str, typer.Option(help="line or total: where it is rounded.")] = "total",
    none: Annotated[bool, typer.Option("--none", help="No table any more.")] = False,
    store: Store = None,
    by: By = "",
) -> int:
    """The shop's taxes, which every estimate begins with; with --tax, set anew."""
    from knowngood.cli.taxes import taxes

    return taxes(tuple(tax or ()), tuple(of or ()), tax_on, none, store, by)


@paper_app.command("due")
def due_command(store: Store = None, json_out: Json = False) -> int:
    """Every paper that waits: claims to send, answers, money, parts to keep."""
    from knowngood.cli.paperwork import due

    return due(store, json_out)


@paper_app.command("claims")
def claims_command(
    as_csv: Annotated[bool, typer.Option("--csv", help="As a table, a line each.")] = False,
    store: Store = None,
) -> int:
    """Every claim that went out, what is owed by age, and why claims were refused."""
    from knowngood.cli.paper_tables import claims

    return claims(store, as_csv)


@paper_app.command("sheet")
def sheet_command(
    out: Annotated[Path, typer.Option(help="Where the PDF goes.")] = Path("today.pdf"),
    store: Store = None,
) -> int:
    """The day on one sheet of paper: papers that wait, and machines."""
    from knowngood.cli.paper_tables import sheet

    return sheet(out, store)
