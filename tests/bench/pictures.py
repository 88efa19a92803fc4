"""Pictures of the bench app for the README, taken from the app itself while keys drive the demo job.

python -m tests.bench.pictures [FOLDER]       default: schematics/pictures
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
from pathlib import Path

from tests.bench.bench_support import Bench

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "fixtures"


class DemoBench(Bench):
    """The demo's own plan, leads and virtual harnesses."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.plan = DEMO / "plans" / "side-door.toml"
        self.leads = [DEMO / "leads" / "side-door-leads.toml"]
        self.harness = DEMO / "harnesses" / "side-door-heater-before.toml"
        self.taken: dict[str, str] = {}

    def take(self, name: str) -> None:
        """Keep the screen as it is now."""
        self.taken[name] = self.app.export_screenshot(title="loomwright bench")

    async def plug(self, name: str) -> None:
        await self.rehearse(f"harness {DEMO / 'harnesses' / name}")


async def demo_job(bench: DemoBench, size: tuple[int, int], wrong: str, right: str) -> None:
    """The demo job from leads to PASS, with a mistake in it."""
    async with bench.running(size, side="left"):
        await bench.intake()
        await bench.keys("enter")
        for _ in range(len(bench.job.cautions()) - 1):
            await bench.keys("enter")
        await bench.until(lambda: bench.app.board_state == "rest", "the board")
        await bench.keys("enter")
        await bench.until(lambda: "checked" in bench.text(), "checked")
        await bench.as_found()
        await bench.keys("enter")
        await bench.until(lambda: "WORK SHEET" in bench.strip, "work sheet")
        await bench.until(lambda: bench.app.stage.watching.on, "the watch")
        for _ in range(5):
            await bench.keys("enter")
        await bench.plug(wrong)
        await bench.until(lambda: "wrong" in bench.app.sounds.played, "wrong", 60)
        bench.take("work-sheet-wrong")
        while any(step.state == "open" for step in bench.app.session.steps()):
            await bench.keys("enter")
        await bench.keys("s", "enter")
        await bench.until(lambda: bench.job.state.verdict is not None, "a verdict", 90)
        bench.take("as-left-fail")
        await bench.plug(right)
        await bench.keys("r", "y")
        await bench.until(lambda: (bench.job.state.verdict or {}).get("verdict") == "PASS", "PASS", 90)
        bench.take("as-left-pass")


def main(folder: Path) -> None:
    """Write the pictures."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as files:
        bench = DemoBench(Path(files))
        wrong, right = "side-door-heater-wrong.toml", "side-door-heater-after.toml"
        asyncio.run(demo_job(bench, (100, 30), wrong, right))
    for name, svg in bench.taken.items():
        path = folder / f"bench-{name}.svg"
        path.write_text(svg, encoding="utf-8")
        print(path)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "schematics" / "pictures")
