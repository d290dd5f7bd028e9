"""What belongs together: common instants, followers and their root, which fault to look at first.

Common instants are looked for in raw values and in who is on the bus first; codes may follow up to
30 s later, for controllers wait differently long before they set one (Peng and Reggia 1990;
Jakobson and Weissman 1993).
"""

from shearbolt.reasoning.company.first import Weight, first_to_look
from shearbolt.reasoning.company.together import Company, company_of
from shearbolt.reasoning.company.values import Instance, Link, LinkWhy, Start

__all__ = [
    "Company",
    "Instance",
    "Link",
    "LinkWhy",
    "Start",
    "Weight",
    "company_of",
    "first_to_look",
]
