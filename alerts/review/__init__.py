"""What to know before wine is moved: a plain verdict for each point, with its reason.

The core is pure; only ``racking_read`` reads the store. In reading order:

section          the shape of a review: sections, each with verdict and reason
amounts          amounts as a review writes them
racking_facts    what a review of a racking is made from
fit              whether the wine fits into the receiving vessel
purging          what purging the receiving vessel takes, and what it leaves; choices compared
moving           pushing or siphoning the wine: time and gas
supply           the gas for all of it, and whether the cylinders hold enough
room_safety      what the gas can do to the air of the rooms
checklist        the work in order, and what to be careful of
racking_gas      these sections put together
racking_read     the facts, from the cellar file and the store
review_lines     a review as lines for people and as an object for programs
"""

from alerts.review.racking_facts import RackingFacts, RackingVessel, RackingWish
from alerts.review.racking_gas import racking_gas
from alerts.review.racking_read import racking_facts
from alerts.review.review_lines import review_json, review_lines
from alerts.review.section import Review, ReviewSection, ReviewVerdict

__all__ = [
    "RackingFacts",
    "RackingVessel",
    "RackingWish",
    "Review",
    "ReviewSection",
    "ReviewVerdict",
    "racking_facts",
    "racking_gas",
    "review_json",
    "review_lines",
]
