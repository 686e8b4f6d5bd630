"""One line a check, in the words that report-checks counts: ok, failed, skipped."""

MOST = 12


def check(name, against):
    """Says how a check went: failed where there is anything to say against it, with the first of it below."""
    if not against:
        print(f"ok: {name}", flush=True)
        return
    print(f"failed: {name}", flush=True)
    for line in against[:MOST]:
        print(f"    {line}", flush=True)
    if len(against) > MOST:
        print(f"    and {len(against) - MOST} more", flush=True)


def skip(name, why):
    print(f"skipped: {name}: {why}", flush=True)
