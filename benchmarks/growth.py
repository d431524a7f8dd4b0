"""A small picture of figures that grow: both axes logarithmic, as SVG text."""

from __future__ import annotations

import math

WIDTH, HEIGHT, LEFT, TOP, RIGHT, BOTTOM = 640, 400, 70, 40, 110, 50
STROKES = ("", "6 4", "2 3")
COLOURS = ("#1a5fb4", "#a51d2d", "#26a269")

Points = list[tuple[float, float]]


def draw(title: str, across: str, up: str, lines: dict[str, Points]) -> str:
    """The lines by name; each has its own stroke and its name at its end."""
    xs = [x for points in lines.values() for x, _ in points]
    ys = [y for points in lines.values() for _, y in points]
    low, high = math.floor(math.log10(min(ys))), math.ceil(math.log10(max(ys)))

    def place(x: float, y: float) -> tuple[float, float]:
        span = math.log(max(xs) / min(xs))
        right = LEFT + (WIDTH - LEFT - RIGHT) * math.log(x / min(xs)) / span
        return right, HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (math.log10(y) - low) / (
            high - low
        )

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img"'
        ' font-family="sans-serif" font-size="13">',
        f"<title>{title}</title>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
        f'<text x="{LEFT}" y="24" font-size="15">{title}</text>',
    ]
    for power in range(low, high + 1):
        _, y = place(xs[0], 10.0**power)
        parts.append(f'<path d="M{LEFT} {y:.1f}H{WIDTH - RIGHT}" stroke="#cccccc"/>')
        parts.append(
            f'<text x="{LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{10.0**power:g}</text>'
        )
    for x in sorted(set(xs)):
        right, _ = place(x, 10.0**low)
        bottom = HEIGHT - BOTTOM
        parts.append(f'<text x="{right:.1f}" y="{bottom + 18}" text-anchor="middle">{x:g}</text>')
    middle = (LEFT + WIDTH - RIGHT) / 2
    parts.append(f'<text x="{middle:.0f}" y="{HEIGHT - 10}" text-anchor="middle">{across}</text>')
    parts.append(f'<text x="{LEFT - 8}" y="{TOP - 14}" text-anchor="end">{up}</text>')
    for number, (name, points) in enumerate(lines.items()):
        colour, dash = COLOURS[number], STROKES[number]
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in (place(*point) for point in points))
        parts.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"'
            f' stroke-dasharray="{dash}"/>'
        )
        x, y = place(*points[-1])
        parts.append(f'<text x="{x + 8:.1f}" y="{y + 4:.1f}" fill="{colour}">{name}</text>')
    return "\n".join([*parts, "</svg>", ""])
