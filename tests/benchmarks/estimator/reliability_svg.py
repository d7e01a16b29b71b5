"""A reliability diagram as SVG: of what was said with a trust of 0.9, how much was right?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

SIDE, LEFT, TOP = 300, 52, 16


def diagram(table: Sequence[dict[str, Any]], title: str) -> str:
    """`table` as scoring.reliability gives it; dots grow with the lanes; on the diagonal trust is earned."""
    width, height = LEFT + SIDE + 24, TOP + SIDE + 64
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" role="img" font-family="sans-serif" font-size="12">',
        f"<title>{title}</title>",
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
    ]
    for k in range(6):
        x, y = LEFT + SIDE * k / 5, TOP + SIDE * (1 - k / 5)
        across = f"M{x:g} {TOP}V{TOP + SIDE}M{LEFT} {y:g}H{LEFT + SIDE}"
        parts.append(f'<path d="{across}" stroke="#dddddd"/>')
        parts.append(f'<text x="{x:g}" y="{TOP + SIDE + 18}" text-anchor="middle">{20 * k} %</text>')
        parts.append(f'<text x="{LEFT - 8}" y="{y + 4:g}" text-anchor="end">{20 * k} %</text>')
    parts.append(
        f'<path d="M{LEFT} {TOP + SIDE}L{LEFT + SIDE} {TOP}" stroke="#767676" stroke-dasharray="5 4"/>'
    )
    places = [(LEFT + SIDE * b["said"], TOP + SIDE * (1 - b["right"]), b["lanes"]) for b in table]
    course = "L".join(f"{x:.1f} {y:.1f}" for x, y, _ in places)
    parts.append(f'<path d="M{course}" stroke="#0072B2" stroke-width="2" fill="none"/>')
    most = max((n for _, _, n in places), default=1)
    for x, y, n in places:
        size = 3 + 6 * (n / most) ** 0.5
        where = f'cx="{x:.1f}" cy="{y:.1f}" r="{size:.1f}"'
        parts.append(f'<circle {where} fill="#0072B2"><title>{n} lanes</title></circle>')
    middle = LEFT + SIDE / 2
    parts.append(f'<text x="{middle:g}" y="{TOP + SIDE + 40}" text-anchor="middle">trust said</text>')
    turned = f"translate(13 {TOP + SIDE / 2:g}) rotate(-90)"
    parts.append(f'<text transform="{turned}" text-anchor="middle">was right</text>')
    return "\n".join([*parts, "</svg>", ""])
