"""Proving the lead sets, a part of the leads stage: identity jumpers, then cavity after cavity touched."""

from __future__ import annotations

import queue
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tester.bench.cavities import CavityList
from tester.bench.dialogs import YesNo
from tester.bench.face import FaceView
from tester.bench.harness_view import face_plans
from tester.bench.lineview import Big, Block, Lines, said
from tester.bench.marks import Mark
from tester.bench.messages import WorkDone, WorkFailed, WorkTold
from tester.bench.picks import Pick
from tester.bench.text import count
from tester.bench.worker import Talk
from tester.errors import LoomwrightError
from tester.harness.cavity import split_cavity
from tester.words.lists import listed
from tester.words.wet import prove_again

if TYPE_CHECKING:
    from tester.bench.stages.leads import LeadsScreen
    from tester.harness.leads import LeadMap
    from tester.job.touch import LeadProof

IDENTITY, PROVE = "identity", "proof"
TURN_S = 0.08
CORNERS = "corner numbers looked at"
SOUNDS = {"right": "right", "wrong": "wrong", "unsure": "wrong"}
ROLES = {"right": "right", "wrong": "wrong", "unsure": "doubt"}


@dataclass(frozen=True)
class ProofNews:
    """Where the proof stands after a turn in which something happened."""

    next: str
    left: int
    proven: tuple[str, ...]
    event: Any
    findings: tuple[str, ...]


class Proof:
    """Runs identity check and proof for the leads screen; one lead map after the other."""

    def __init__(self, screen: LeadsScreen) -> None:
        self.screen = screen
        self.number = 0
        self.running = False
        self.at = 0
        self.known: dict[int, tuple[bool | None, str]] = {}
        self.findings: tuple[str, ...] = ()
        self.next = ""
        self.left = 0
        self.event: Any = None
        self._skips: queue.Queue[None] = queue.Queue()

    @property
    def maps(self) -> tuple[LeadMap, ...]:
        """Lead maps of the job."""
        job = self.screen.bench.session.job
        return job.leads if job is not None else ()

    def _proven(self) -> frozenset[str]:
        job = self.screen.bench.session.job
        return job.state.proven if job is not None else frozenset()

    def _unclean(self) -> frozenset[str]:
        job = self.screen.bench.session.job
        return job.state.unclean if job is not None else frozenset()

    def again_words(self) -> str:
        """What to do about lead sets that were on a wet harness."""
        maps = [one for one in self.maps if not self._unclean().isdisjoint(one.cavities)]
        if not all(one.probe is not None for one in maps):
            return prove_again(False)
        names = ", ".join(one.id for one in maps)
        return f"Lead set {names} was on a wet harness: clean it, then prove it again by touch (Enter). No PASS before."

    def all_proven(self) -> bool:
        """True when every lead is proven."""
        return all(name in self._proven() for leads in self.maps for name in leads.cavities)

    def another(self) -> str:
        """What was said of a lead set that is not the one that the lead map names, "" when none was seen."""
        return next((words for known, words in self.known.values() if known is False), "")

    def picks(self) -> list[Pick]:
        """Lines of the list: identity and proof of each lead set, and the corner numbers."""
        found = []
        for n, leads in enumerate(self.maps):
            round_words = f"{n + 1}: " if len(self.maps) > 1 else ""
            if leads.identity:
                known = self.known.get(n, (None, ""))[0]
                sign, role = ("!", "doubt") if known is None else ("✓", "right") if known else ("✗", "wrong")
                tail = "to do" if known is None else "known" if known else "another"
                found.append(Pick(f"identity {n}", f"{round_words}which lead set", sign, role, tail))
            if leads.probe is not None:
                done = sum(name in self._proven() for name in leads.cavities)
                whole = done == len(leads.cavities)
                wanted = self._required() or not self._unclean().isdisjoint(leads.cavities)
                sign, role = ("✓", "right") if whole else ("!", "doubt") if wanted else (" ", "plain")
                words = f"{round_words}prove the leads"
                found.append(Pick(f"proof {n}", words, sign, role, f"{done}/{len(leads.cavities)}"))
        if self._required() and self._corners():
            job = self.screen.bench.session.job
            looked = job is not None and CORNERS in job.state.accepted
            found.append(
                Pick("corners -", "corner numbers", "✓" if looked else "!", "right" if looked else "doubt",
                     "looked at" if looked else "to do")
            )  # fmt: skip
        return found

    def _required(self) -> bool:
        return self.screen.bench.session.plan.prove_leads

    def _corners(self) -> list[str]:
        plan = self.screen.bench.session.plan
        return [f"{one.id}-{n}" for one in plan.connector if one.kind == "housing" for n in one.face.corners()]

    def words(self, key: str) -> str:
        """What the entry under the cursor means."""
        kind, _, number = key.partition(" ")
        if kind == "identity":
            return self.known.get(int(number), (None, ""))[1] or (
                "Leads that are joined inside the lead set tell the board which set this is. Enter: look."
            )
        if kind == "proof":
            words = (
                "A lead that was never seen joined to anything proves nothing. Leave the harness off; touch each "
                "cavity of the empty mating half with the probe lead, in the order that is asked. Enter begins."
            )
            return "\n".join([*self.findings, words])
        if kind == "corners":
            return (
                "Look at the numbers moulded on the plastic: are " + ", ".join(self._corners()) + " where the faces "
                "show them? A face read from the wrong side is mirrored. Enter: yes, I looked."
            )
        return ""

    def next_words(self) -> str:
        """What the strip says while it runs."""
        if not self.next:
            return "Every cavity was asked. x ends the proof."
        return (
            f"Touch cavity {self.next} of the empty mating half with the probe lead. "
            f"{count(self.left, 'cavity', 'cavities')} to go; k skips one that does not answer, x stops."
        )

    # Keys

    def start(self, key: str) -> None:
        """Begin what the list's entry names."""
        kind, _, number = key.partition(" ")
        if kind == "corners":
            job = self.screen.bench.session.job
            if job is not None and CORNERS not in job.state.accepted:
                job.accept(CORNERS)
            self.screen.state_changed()
            return
        self.at = int(number)
        if len(self.maps) > 1:
            self.screen.app.push_screen(
                YesNo(f"Lead set {self.at + 1} of {len(self.maps)}", f"Plug in {self.maps[self.at].id}, then press y."),
                lambda answer: self._begin(kind) if answer == "yes" else None,
            )
        else:
            self._begin(kind)

    def _begin(self, kind: str) -> None:
        from tester.job.touch import LeadProof, in_random_order

        leads = self.maps[self.at]
        path = self.screen.bench.session.leads_paths()[self.at]
        many = len(self.maps) > 1
        if kind == "identity":
            self.number = self.screen.bench.do(IDENTITY, identity_work(leads, path if many else None))
            return
        order = [name for name in in_random_order(leads, secrets.randbits(32)) if name not in self._proven()]
        if not order:
            self.screen.say("Every lead of this set is proven.")
            return
        try:
            proof = LeadProof(leads, order)
        except LoomwrightError as error:
            self.screen.say(str(error))
            return
        self._skips = queue.Queue()
        self.findings = ()
        self.next, self.left = order[0], len(order)
        self.number = self.screen.bench.do(PROVE, proof_work(proof, len(order), self._skips, path if many else None))
        self.running = self.number != 0
        if self.running:
            self.screen.source = "live"
            self._ask()

    def stop(self) -> None:
        """End the proof; what is proven is kept."""
        if self.running and self.screen.bench.worker is not None:
            self.screen.bench.worker.stop()

    def skip(self) -> None:
        """The cavity does not answer."""
        if self.running:
            self._skips.put(None)

    # News

    def told(self, message: WorkTold) -> None:
        """A touch was judged."""
        if message.number != self.number or not isinstance(message.what, ProofNews):
            return
        news = message.what
        self.next, self.left, self.findings = news.next, news.left, news.findings
        self.event = news.event
        job = self.screen.bench.session.job
        fresh = set(news.proven) - self._proven()
        if job is not None and fresh:
            job.prove(fresh, at=self.at)
        if news.event is not None:
            self.screen.bench.sounds.play(SOUNDS[news.event.kind])
        self.screen.state_changed()
        self._ask(news.event)

    def _ask(self, event: Any = None) -> None:
        lines: list[Block] = said(event.says, ROLES[event.kind]) if event is not None else []
        lines += [line for finding in self.findings for line in said(finding, "wrong")]
        if self.next:
            lines = [Big(self.next), [], *lines]
            self.screen.query_one(FaceView).show(
                face_plans(self.screen.bench.session.plan, [split_cavity(self.next)[0]])
            )
        self.screen.query_one("#result", Lines).show(lines)
        if event is not None and event.kind == "wrong":
            self.screen.query_one(FaceView).mark(dict.fromkeys(event.answered, Mark.WRONG))
        self.screen.query_one(FaceView).choose([self.next] if self.next else [])
        self.screen.query_one(CavityList).choose([self.next] if self.next else [])
        self.screen.show_strip()
        self.screen.refresh_bindings()

    def done(self, message: WorkDone) -> None:
        """Identity was looked up, or the proof ended."""
        if message.number != self.number:
            return
        self.running, self.number = False, 0
        self.screen.source = ""
        if message.name == IDENTITY and message.result is not None:
            self.known[self.at] = message.result
            if message.result[0]:
                self._count_earlier()
            self.screen.bench.sounds.play("wrong" if message.result[0] is False else "right")
        self.screen.query_one(FaceView).show(face_plans(self.screen.bench.session.plan))
        self.screen.query_one(FaceView).choose([])
        self.screen.query_one(CavityList).choose([])
        self.screen.state_changed()
        if message.name == IDENTITY and message.result is not None and message.result[0] is False:
            self.screen.say(message.result[1])

    def _count_earlier(self) -> None:
        """Known by its identity jumpers: what was touched in an earlier job today need not be touched again."""
        job = self.screen.bench.session.job
        sources = job.count_earlier_proof(self.at) if job is not None else []
        if sources:
            known, words = self.known[self.at]
            self.known[self.at] = (known, f"{words} Leads touched in {listed(sources)} within a day count as proven.")

    def failed(self, message: WorkFailed) -> None:
        """The board failed meanwhile."""
        self.running, self.number = False, 0
        self.screen.source = ""


def identity_work(leads: LeadMap, path: Path | None) -> Callable[[Talk], tuple[bool | None, str]]:
    """Work that tells whether the set on the board is this one."""

    def work(talk: Talk) -> tuple[bool | None, str]:
        from tester.job.touch import identify

        if path is not None:
            talk.board.rewire(path)
        return identify(talk.board, leads)

    return work


def proof_work(proof: LeadProof, total: int, skips: queue.Queue[None], path: Path | None) -> Callable[[Talk], None]:
    """Work that watches the probe until every cavity was asked or it is stopped."""

    def work(talk: Talk) -> None:
        if path is not None:
            talk.board.rewire(path)
        while not talk.stopped and proof.next:
            event = proof.turn(talk.board)
            skipped = not skips.empty()
            if skipped:
                skips.get()
                proof.skip()
            if event is not None or skipped:
                left = total - len(proof.proven) - len(proof.skipped)
                talk.tell(ProofNews(proof.next, left, tuple(proof.proven), event, tuple(proof.findings())))
            talk.pause(TURN_S)

    return work
