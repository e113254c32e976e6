"""Events for others: EPCIS 2.0 in JSON-LD, written and read back.

Pure: no Django. The shape is that of the GS1 standards EPCIS 2.0 and CBV 2.0, as far
as their published JSON schema says it, which the tests hold each document against; that
an error declaration repeats the event and its name was seen at second hand (EPCIS 1.2,
7.4.1); what a business step or disposition means is from memory. GS1 keys need a
company prefix and a GTIN for each product and size: where the maker has recorded both,
bottles and filling lots are named by them; every other identifier is an address of our
own site, as the square on a bottle.
"""
