"""What `shelfbell check` finds about several shops: names that two have, sources that belong to none."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from notify.config.finding import Finding
from notify.core.errors import Misconfigured
from notify.flows.open_shop import names
from notify.flows.source_shop import shop_of
from notify.wiring import Services


def shop_findings(services: Services) -> Iterator[Finding]:
    """Each of them; the service starts with them, and leaves such a source alone."""
    counts = Counter(names(services.context).values())
    for name in (name for name, number in counts.items() if number > 1):
        yield Finding("name", f"{counts[name]} shops are called {name!r}",
                      "Give each a name of its own: `shelfbell shop set name=…`.", refuses=False)  # fmt: skip
    for watch in services.settings.watch:
        try:
            shop_of(services.context, services.shop_ids(), watch.shop, source=watch.name)
        except Misconfigured as problem:
            yield Finding(problem.field, f"{problem.what}, so the source is not looked at", problem.advice,
                          refuses=False)  # fmt: skip
