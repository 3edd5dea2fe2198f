"""`pattress policy show`, `coverage` and `try`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pattress.cli.help_text import Commands
from pattress.cli.options import AsJson, SiteFolder, load, now, run, store_path
from pattress.cli.output import ALL_MET, UNVERIFIED, give, give_json, leave, status_of, style
from pattress.model.errors import UsageError

if TYPE_CHECKING:
    from pattress.model.rules import Override, Policy, Rule
    from pattress.model.site import Site

policy = typer.Typer(
    cls=Commands,
    help="Look into a policy: its rules in words, how much of it can be judged here, and a trial of another one.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
PolicyWords = Annotated[
    str | None,
    typer.Option("--policy", help="A shipped policy by its id, or a policy file; the site's own if not given."),
]


@policy.command("show")
def show(
    rule: Annotated[
        str | None, typer.Argument(metavar="[RULE]", help="One rule; all, one line each, if not given.")
    ] = None,
    chosen: PolicyWords = None,
    site: SiteFolder = Path(),
    json: AsJson = False,
) -> None:
    """List the rules of a policy, or tell all of one: to what it applies, what it requires, why, and what to do.

    Example: pattress policy show over-current-limit --policy isolated-house
    """
    from pattress.policy.builtin import BUILTIN_RULES
    from pattress.report.policy import Shown, policy_text
    from pattress.report.policy_document import policy_document

    loaded = load(site) if chosen is None else None
    shown_policy = loaded.policy if loaded is not None else _policy(chosen or "", None)
    rules, dropped = _chosen(
        rule,
        (*shown_policy.rules, *BUILTIN_RULES),
        tuple(one for one in shown_policy.overridden if one.dropped is not None),
    )
    shown = Shown(
        policy=shown_policy, rules=rules, dropped=dropped, networks=loaded.networks if loaded is not None else None
    )
    if json:
        give_json(policy_document(shown))
    else:
        give(policy_text(shown, style()))


@policy.command("coverage")
def coverage(chosen: PolicyWords = None, site: SiteFolder = Path(), json: AsJson = False) -> None:
    """Tell which rules can be judged at which points of the plan, and what nobody reports. Asks no device anything.

    Exit status: 0 where every check can be made, 3 where some cannot.

    Example: pattress policy coverage --site ~/house
    """
    from pattress.policy.coverage import coverage as coverage_of
    from pattress.report.policy import coverage_text
    from pattress.report.policy_document import coverage_document

    loaded = load(site)
    covered = coverage_of(
        loaded.policy if chosen is None else _policy(chosen, loaded), loaded.networks, loaded.plan, loaded.profiles
    )
    if json:
        give_json(coverage_document(loaded.name, covered))
    else:
        give(coverage_text(loaded.name, covered, style()))
    leave(ALL_MET if covered.is_whole else UNVERIFIED)


@policy.command("try")
def try_(
    file: Annotated[str, typer.Argument(metavar="FILE", help="A policy file, or the id of a shipped policy.")],
    site: SiteFolder = Path(),
    json: AsJson = False,
) -> None:
    """Judge the last known settings by another policy. Asks no device anything, and keeps nothing.

    Example: pattress policy try stricter.toml --site ~/house
    """
    from pattress.audit.trial import try_policy
    from pattress.report.policy import trial_text
    from pattress.report.policy_document import trial_document

    loaded = load(site)
    trial = run(try_policy(loaded, _policy(file, loaded), store_path(loaded), now=now()))
    if json:
        give_json(
            trial_document(
                loaded.name, trial.policy, counts=trial.counts, findings=trial.findings, read_at=trial.read_at
            )
        )
    else:
        give(trial_text(loaded.name, trial.policy, trial.findings, trial.read_at, style()))
    leave(status_of(finding.outcome for finding in trial.findings))


def _policy(words: str, site: "Site | None") -> "Policy":
    """Return a shipped policy, or one in a file relative to the current folder, for a site where there is one."""
    from pattress.policy.builtin import BUILTIN_RULES
    from pattress.site.load import load_policy, surroundings_of

    return load_policy(words, Path(), surroundings_of(site, [rule.id for rule in BUILTIN_RULES]))


def _chosen(
    name: str | None, rules: "tuple[Rule, ...]", dropped: "tuple[Override, ...]"
) -> "tuple[tuple[Rule, ...], tuple[Override, ...]]":
    if name is None:
        return rules, dropped
    one = tuple(rule for rule in rules if rule.id == name)
    gone = tuple(override for override in dropped if override.rule == name)
    if not one and not gone:
        from difflib import get_close_matches

        near = get_close_matches(name, [rule.id for rule in rules], n=1)
        raise UsageError(
            f"there is no rule {name!r}",
            where="pattress policy show",
            next_step=f"Did you mean {near[0]}?" if near else "Run `pattress policy show` to see all rules.",
        )
    return one, gone
