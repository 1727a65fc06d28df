"""Files for other programs, each a pure writer: plain dataclasses in, bytes out.

No rows, no disk, and no clock but the time of saving that a workbook bears.

tables.py   one description of a table -> CSV (RFC 4180) and XLSX
journal.py  balanced postings under an editable account map -> a table for the bookkeeper's program
billing.py  an invoice or credit note as a plain dataclass, and whether its sums agree to the cent
ubl.py      the same -> UBL 2.1 XML (OASIS, ISO/IEC 19845)
hpxml.py    a measured house and its measures -> HPXML 4.2 XML, and what that form cannot hold (surfaces:
            hpxml_enclosure.py; elements: hpxml_xml.py; words of the standard, both ways: hpxml_words.py; the work of a
            priced option: hpxml_work.py)
hpxml_import.py
            the enclosure part of such a file -> the JSON form of a house, and what was not understood (surfaces:
            hpxml_surfaces.py; safe reading and notes: hpxml_reading.py)

What cannot be written is refused as `BadRecord`, whose faults name the field and what to enter.
"""
