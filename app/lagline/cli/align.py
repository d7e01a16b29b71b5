"""`lagline align`: measure a take and print what was found."""

from __future__ import annotations

import sys

from lagline.cli import options, progress
from lagline.units import DEFAULT_TEMPERATURE_C


def align_command(
    recordings: options.Recordings,
    anchor: options.Anchor = "latest",
    source: options.Source = None,
    search_ms: options.SearchMs = None,
    start: options.From = None,
    stop: options.To = None,
    rate: options.Rate = None,
    temperature_c: options.TemperatureC = DEFAULT_TEMPERATURE_C,
    whole_samples: options.WholeSamples = False,
    whole_within: options.WholeWithin = False,
    as_json: options.AsJson = False,
) -> None:
    """Measure how late each lane is and whether it is upside down. Changes nothing."""
    from lagline.jobs.line_up import line_up
    from lagline.jobs.open_take import open_take

    take = open_take(recordings, rate_hz=rate, temperature_c=temperature_c)
    take.to_line_up()
    rounding = options.rounding(whole_samples, whole_within)
    chosen = options.analysis_options(take.session, anchor, search_ms, start, stop, source)
    with progress.shown("Measuring") as tell:
        alignment = line_up(take.session, chosen, progress=tell)
    if as_json:
        import msgspec

        from lagline.cli.alignment_json import alignment_document

        document = alignment_document(take.session, alignment, take.problems, rounding=rounding)
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(document), indent=1).decode() + "\n")
        return
    from lagline.cli.findings_table import print_findings

    print_findings(take.session, alignment, take.problems, rounding=rounding)
