"""The doors: first run, sign in, sign out, one's own password."""

from __future__ import annotations

from django.contrib.auth import authenticate, update_session_auth_hash
from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.decorators.http import require_http_methods

from producer.errors import Refusal
from producer.forms.people import OwnPasswordForm, SetUpForm, SignInForm
from producer.models import Premises, Right, User
from producer.services import people
from producer.views import acts


@login_not_required
@require_http_methods(["GET", "HEAD", "POST"])
def set_up(request: HttpRequest) -> HttpResponse:
    """Create the premises and its owner; gone once there is one."""
    if not people.needs_setup():
        return redirect("producer:sign_in")
    form = SetUpForm(request.POST or None)
    return acts.handle(
        request,
        form,
        do=lambda facts, _: people.set_up(
            code=facts["code"],
            premises=Premises(
                name=facts["premises_name"], time_zone=facts["time_zone"]
            ),
            name=facts["name"],
            username=facts["username"],
            password=facts["password"],
            rights=[
                right
                for right, ticked in (
                    (Right.MAKER, facts["is_maker"]),
                    (Right.REVIEWER, facts["is_reviewer"]),
                )
                if ticked
            ],
        ),
        then=lambda _: reverse("producer:sign_in"),
        said="The premises is set up. Sign in with the account you just made.",
        home=reverse("producer:sign_in"),
        title="Set up this premises",
        submit="Set it up",
        template="producer/set_up.html",
    )


@method_decorator(login_not_required, name="dispatch")
class SignIn(auth_views.LoginView):
    """Sign in; leads to the first-run page while there is nobody to sign in."""

    template_name = "producer/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def dispatch(
        self, request: HttpRequest, *args: object, **kwargs: object
    ) -> HttpResponseBase:
        """Show the first-run page first."""
        if people.needs_setup():
            return redirect("producer:set_up")
        return super().dispatch(request, *args, **kwargs)


@require_http_methods(["GET", "HEAD", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    """Change one's own password; other sessions of the account end."""
    form = OwnPasswordForm(request.POST or None)
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: _change_password(request, facts, submission),
        then=lambda changed: _stay_signed_in(request, changed),
        said="Your password is changed.",
        home=reverse("quality:today"),
        title="Change your password",
        submit="Change it",
    )


def _change_password(
    request: HttpRequest, facts: acts.Facts, submission: acts.Submission
) -> User:
    user = acts.user_of(request)
    # Through the sign-in's own gate as well, so that guessing counts there too.
    if not authenticate(
        request, username=user.username, password=facts["current_password"]
    ):
        raise Refusal("This is not your current password.", field="current_password")
    return people.change_password(by=user, user=user, submission=submission, **facts)


def _stay_signed_in(request: HttpRequest, user: object) -> str:
    update_session_auth_hash(request, user)  # type: ignore[arg-type]
    return reverse("quality:today")
