"""The site file with other [rules], its comments kept.

text = tuned_text(path.read_text(), {"dwell_ms": 900_000})
"""

from collections.abc import Mapping, Sequence

from becksim.compile import compile_site
from becksim.errors import UserError
from becksim.site import Site
from becksim.tuning.knobs import Space
from becksim.tuning.score import with_settings


def tuned_text(text: str, rules: Mapping[str, int]) -> str:
    """The site file with these settings in its [rules]; what else stands there is kept.

    Parameters
    ----------
    text : str
        A site file.
    rules : mapping
        Settings by their names.

    Examples
    --------
    >>> print(tuned_text("[rules]  # mine\\nlevel_rise_mm = 12 # tried in May\\n", {"level_rise_mm": 9}))
    [rules]  # mine
    level_rise_mm = 9 # tried in May
    <BLANKLINE>
    """
    import tomlkit

    document = tomlkit.parse(text)
    table = document.get("rules")
    if table is None:
        table = tomlkit.table()
        table.comment("tuned by becklight: what each does is told in the page beside this file")
        document["rules"] = table
    for name, value in rules.items():
        table[name] = value
    return tomlkit.dumps(document)


def rules_to_write(
    site: Site, space: Space, settings: Mapping[str, int], given: Sequence[str] = ()
) -> dict[str, int]:
    """What must stand in [rules] for the device to get these settings: what differs from the site's own.

    Parameters
    ----------
    site : Site
        The site, with its own [rules].
    space : Space
        What was turned.
    settings : mapping
        Every setting of the table.
    given : sequence of str
        Settings that the site was given beside its file (--set): they are written too.

    Returns
    -------
    dict
        Some settings follow from others; one that would move along with a changed one stands there too.
    """
    changed = {name: value for name, value in settings.items() if value != space.present[name]}
    found = compile_site(with_settings(site, changed))["rules"]
    changed.update({name: value for name, value in settings.items() if found[name] != value})
    rules = compile_site(with_settings(site, changed))["rules"]
    moved = [name for name, value in settings.items() if rules[name] != value]
    if moved:
        raise UserError(
            f"{site.path.name}: {', '.join(moved)} cannot be set so together; pin them and tune again."
        )
    beside = {name: rules[name] for name in given if name in site.rules}
    return {
        name: rules[name] for name in dict.fromkeys((*settings, *beside)) if name in changed or name in beside
    }
