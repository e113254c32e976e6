"""Addresses of the premises."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from producer.views import (
    devices,
    entrance,
    journal,
    lots,
    people,
    registers,
    rules,
    safety,
    store,
)

app_name = "producer"
urlpatterns = [
    path("setup/", entrance.set_up, name="set_up"),
    path("sign-in/", entrance.SignIn.as_view(), name="sign_in"),
    path("sign-out/", LogoutView.as_view(), name="sign_out"),
    path("password/", entrance.password, name="password"),
    path("kept/", devices.kept, name="kept"),
    path("registers/", registers.registers, name="registers"),
    path("registers/<slug:kind>/", registers.register, name="register"),
    path("registers/<slug:kind>/new/", registers.register_new, name="register_new"),
    path(
        "registers/<slug:kind>/<int:pk>/",
        registers.register_entry,
        name="register_entry",
    ),
    path("premises/", registers.premises, name="premises"),
    path("people/", people.people, name="people"),
    path("people/new/", people.account_new, name="account_new"),
    path("people/<int:pk>/", people.account, name="account"),
    path("people/<int:pk>/rights/", people.account_rights, name="account_rights"),
    path("people/<int:pk>/close/", people.account_close, name="account_close"),
    path("people/<int:pk>/password/", people.account_password, name="account_password"),
    path("journal/", journal.journal, name="journal"),
    path("journal/<int:sequence>/", journal.act, name="act"),
    path("journal/list.pdf", journal.journal_pdf, name="journal_pdf"),
    path("journal/list.csv", journal.journal_csv, name="journal_csv"),
    path("lots/", lots.lots, name="lots"),
    path("lots/receive/", lots.lot_receive, name="lot_receive"),
    path("lots/<str:code>/", lots.lot, name="lot"),
    path("lots/<str:code>/count/", lots.lot_count, name="lot_count"),
    path("lots/<str:code>/dispose/", lots.lot_dispose, name="lot_dispose"),
    path("lots/<str:code>/containers/", store.containers_register, name="containers"),
    path(
        "lots/<str:code>/containers/<int:number>/",
        store.container_change,
        name="container_change",
    ),
    path("stock-takes/", store.stock_takes, name="stock_takes"),
    path("stock-takes/new/", store.stock_take_new, name="stock_take_new"),
    path("stock-takes/list.pdf", store.stock_list_pdf, name="stock_list_pdf"),
    path("stock-takes/<int:pk>/", store.stock_take, name="stock_take"),
    path("lots/<str:code>/price/", lots.lot_price, name="lot_price"),
    path("safety/", safety.safety, name="safety"),
    path("safety/new/", safety.safety_new, name="safety_new"),
    path("safety/<int:pk>/amend/", safety.safety_amend, name="safety_amend"),
    path("safety/<int:pk>/void/", safety.safety_void, name="safety_void"),
    path("rules/", rules.rules, name="rules"),
    path("rules/new/", rules.rules_new, name="rules_new"),
    path("rules/<int:pk>/amend/", rules.rules_amend, name="rules_amend"),
    path("rules/<int:pk>/void/", rules.rules_void, name="rules_void"),
    path("files/<int:pk>/", lots.attachment, name="attachment"),
]
