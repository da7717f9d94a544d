"""What to know before wine is racked or bottled: a plain verdict for each point, with its reason.

The core is pure; only ``racking_read`` and ``vessel_read`` read the store. In reading order:

section             the shape of a review: sections, each with verdict and reason
amounts             amounts as a review writes them

the wine
vessel_facts        what is known of the wine in a vessel
vessel_read         the same from the cellar file and the store
rest                how long the wine has rested, and what work on it is due
clarity             what people saw: whether it cleared, lees, a film
steadiness          the temperature of the last weeks: may lees have settled?
blanket_record      what became of the gas over it: time under floors, gas lost, oxygen let in
blanket_care        the same as a section
so2_now             SO2 now, and whether to titrate first
dose_after          what to add afterwards, or before it goes into bottles
open_alarms         the alarms that are open

gas and rooms
racking_facts       what the gas part of a review is made from
racking_read        the same from the cellar file and the store
fit                 whether the wine fits into the receiving vessel
purging             what purging the receiving vessel takes, and what it leaves; choices compared
moving              pushing or siphoning the wine: time and gas
supply              the gas for all of it, and whether the cylinders hold enough
room_safety         what the gas can do to the air of the rooms
checklist           the work of a racking in order, and what to be careful of
racking_gas         these sections put together

for a bottling
refermentation      whether the wine can ferment again in the bottle
dissolved_gas       its carbon dioxide
bottles             how many bottles it fills
bottling_gas        moving it, flushing bottles, gas, rooms
bottling_checklist  the work of a bottling in order

vessel_review       all of it put together: before a racking, before a bottling
review_lines        a review as lines for people and as an object for programs
whole               all of it from the cellar file and the store on
charts              its pictures: temperature, pressure, free SO2
review_sheet        it as a sheet of two pages to print
"""

from alerts.review.charts import review_charts
from alerts.review.racking_facts import RackingFacts, RackingVessel, RackingWish
from alerts.review.racking_gas import racking_gas
from alerts.review.racking_read import racking_facts
from alerts.review.review_lines import review_json, review_lines, review_title
from alerts.review.review_sheet import review_sheet
from alerts.review.section import Review, ReviewSection, ReviewVerdict
from alerts.review.vessel_facts import BottlingWish, VesselFacts
from alerts.review.vessel_read import free_so2_band, vessel_facts
from alerts.review.vessel_review import bottling_review, racking_review
from alerts.review.whole import ReviewAsked, WholeReview, whole_review

__all__ = [
    "BottlingWish",
    "RackingFacts",
    "RackingVessel",
    "RackingWish",
    "Review",
    "ReviewAsked",
    "ReviewSection",
    "ReviewVerdict",
    "VesselFacts",
    "WholeReview",
    "bottling_review",
    "free_so2_band",
    "racking_facts",
    "racking_gas",
    "racking_review",
    "review_charts",
    "review_json",
    "review_lines",
    "review_sheet",
    "review_title",
    "vessel_facts",
    "whole_review",
]
