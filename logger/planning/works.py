"""Titles of published works that constants come from: names, the same in every language."""

from __future__ import annotations

WOOD_HANDBOOK_4 = "Glass & Zelinka 2010, Wood Handbook FPL-GTR-190, ch. 4"
WOOD_HANDBOOK_13 = "Wood Handbook FPL-GTR-190, ch. 13"
WOOD_TABLE_13_5 = "Wood Handbook FPL-GTR-190 (2010), Table 13-5"
WOOD_TABLE_5_3 = "Wood Handbook FPL-GTR-190 (2010), Table 5-3"
WOOD_TABLE_12_3 = "Cai & Ross 2010, Wood Handbook FPL-GTR-190, Table 12-3"
HOADLEY_1 = "Hoadley 1998, in Dardes & Rothe, The Structural Conservation of Panel Paintings, p. 15, Table 1"
PE_PIPE = "Handbook of PE Pipe, ch. 3 App. B, Table B.1.1"
FINNISH_PLYWOOD = "Handbook of Finnish Plywood"
ROARK = "Young & Budynas, Roark's Formulas 7th ed., Table 11.4 case 1a"
FORMWORK = "Peurifoy & Oberlender, Formwork for Concrete Structures"
ENGINEERING_MATERIALS = "Budinski & Budinski 1999, Engineering Materials"
GLASS = "EN 572-1"
ALUMINIUM = "ASME B31.9, Table 919.3.1"
CALLISTER = "Callister 2007, Appendix B, Table B.2"
G173 = "ASTM G173-03, AM1.5 global"
