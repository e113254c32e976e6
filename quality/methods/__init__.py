"""What Kettlebook computes, as the page “How it is computed” tells it.

Plain data, a module per field of the work; a test holds each entry against the
function it names.
"""
