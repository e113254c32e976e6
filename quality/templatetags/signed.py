"""Signatures of one batch or several, wherever somebody decides by them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from batches.models import Batch
from producer.models import User
from quality.services import as_signed, signers

register = template.Library()


@register.inclusion_tag("quality/_signer.html")
def signer(signed: signers.Signed) -> dict[str, Any]:
    """Say who signed: ``{% signer signature %}``, wherever a signature is shown.

    The printed name with the account, and what stands beside it for ever: who else
    set the password, and the pause of a self-review.
    """
    return {"printed_name": signed.printed_name, **signers.of_signed(signed)}


@register.inclusion_tag("quality/_password_first.html")
def password_first(user: User) -> dict[str, Any]:
    """Tell who is about to sign that somebody else set the password, if so."""
    return signers.shown_now(user)


@register.inclusion_tag("quality/_signature_list.html")
def signatures_of(batch: Batch) -> dict[str, Any]:
    """List the signatures of a batch, each with its meaning and what befell it."""
    return {"signatures": as_signed.signatures_of([batch.pk])}


@register.inclusion_tag("quality/_signature_list.html")
def signatures_of_each(batches: Iterable[Batch]) -> dict[str, Any]:
    """List the signatures of several batches, in one query and one for the marks."""
    ids = [batch.pk for batch in batches]
    return {"signatures": as_signed.signatures_of(ids), "with_batch": True}
