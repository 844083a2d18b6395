"""What a pilot can do: the use cases that the command line and the web app both call.

``Workshop`` is one fleet opened for work. Each module here is one bench of it: ``fleet`` (sheets),
``building`` (new and measured ones), ``sharing`` (handed on), ``campaigns`` (kept ones), ``crashes``,
``changes`` (compare, improve), ``placement``, ``trials``, ``seeing`` (camera and link), ``journal`` (and what
is due), ``flights``, ``kits``, ``lives`` (torque, wear, crew), ``pictures``, ``tour`` (the guided tour of the
demo). Rooms do the work; a bench hands each room what it needs and keeps what comes back.
Nothing heavy is imported before it is used.
"""

from __future__ import annotations

from crashworthy.workshop.crashes import Campaign, PartLoads
from crashworthy.workshop.fleet import QuadCard, SheetText
from crashworthy.workshop.flights import FlightBench, KeptLog
from crashworthy.workshop.kits import KitBench
from crashworthy.workshop.pictures import PictureBench
from crashworthy.workshop.seeing import SeeingBench
from crashworthy.workshop.sharing import ShareBench
from crashworthy.workshop.showing import ShowBench
from crashworthy.workshop.tour import TourBench

__all__ = ["Campaign", "KeptLog", "PartLoads", "QuadCard", "SheetText", "Workshop"]


class Workshop(TourBench, ShowBench, KitBench, FlightBench, SeeingBench, ShareBench, PictureBench):
    """One fleet: its sheets, its journal, its campaigns, logs and kits. Safe to use from several threads."""
