"""Addresses of making."""

from django.urls import path

from batches.views import (
    batches,
    bench,
    bottles,
    charging,
    costs,
    discounts,
    discrepancies,
    filling,
    formulas,
    label_texts,
    labels,
    liquids,
    mending,
    papers,
    ph,
    places,
    portions,
    pot,
    proofs,
    samples,
    sheet_formats,
    store,
    stove,
)

app_name = "batches"
urlpatterns = [
    path("formulas/", formulas.formulas, name="formulas"),
    path("formulas/new/", formulas.formula_new, name="formula_new"),
    path("formulas/<int:pk>/", formulas.formula, name="formula"),
    path(
        "formulas/<int:pk>/version/", formulas.formula_version, name="formula_version"
    ),
    path("formulas/<int:pk>/class/", label_texts.classify, name="classify"),
    path("formulas/<int:pk>/labels/", label_texts.texts, name="label_texts"),
    path(
        "formulas/<int:pk>/labels/<slug:language>/write/",
        label_texts.text_write,
        name="label_text_write",
    ),
    path(
        "formulas/<int:pk>/labels/<slug:language>/<int:version>/",
        label_texts.text,
        name="label_text",
    ),
    path(
        "formulas/<int:pk>/labels/<slug:language>/<int:version>/approve/",
        label_texts.text_approve,
        name="label_text_approve",
    ),
    path(
        "formulas/<int:pk>/labels/<slug:language>/<int:version>/withdraw/",
        label_texts.text_withdraw,
        name="label_text_withdraw",
    ),
    path("batches/", batches.batches, name="batches"),
    path("batches/open/", batches.batch_open, name="batch_open"),
    path("batches/<str:number>/", batches.batch, name="batch"),
    path("batches/<str:number>/lots/", batches.batch_lots, name="lots"),
    path("batches/<str:number>/discount/", discounts.discount, name="discount"),
    path("batches/<str:number>/charge/<int:position>/", pot.charge, name="charge"),
    path(
        "batches/<str:number>/charges/<int:pk>/amend/",
        pot.charge_amend,
        name="charge_amend",
    ),
    path(
        "batches/<str:number>/charges/<int:pk>/void/",
        pot.charge_void,
        name="charge_void",
    ),
    path(
        "batches/<str:number>/charge/<int:position>/begin/",
        charging.charge_begin,
        name="charge_begin",
    ),
    path(
        "batches/<str:number>/starts/<int:pk>/finish/",
        charging.start_finish,
        name="start_finish",
    ),
    path(
        "batches/<str:number>/starts/<int:pk>/void/",
        charging.start_void,
        name="start_void",
    ),
    path("batches/<str:number>/undo/", charging.undo, name="undo"),
    path("batches/<str:number>/read/<slug:characteristic>/", pot.read, name="read"),
    path(
        "batches/<str:number>/readings/<int:pk>/amend/",
        pot.reading_amend,
        name="reading_amend",
    ),
    path("batches/<str:number>/weigh/", pot.weigh, name="weigh"),
    path(
        "batches/<str:number>/weighings/<int:pk>/amend/",
        pot.weigh_amend,
        name="weigh_amend",
    ),
    path("batches/<str:number>/correct/<str:code>/", mending.correct, name="correct"),
    path("batches/<str:number>/loss/", mending.loss, name="loss"),
    path(
        "batches/<str:number>/losses/<int:pk>/amend/",
        mending.loss_amend,
        name="loss_amend",
    ),
    path(
        "batches/<str:number>/losses/<int:pk>/void/",
        mending.loss_void,
        name="loss_void",
    ),
    path("batches/<str:number>/portions/", portions.portion_add, name="portion_add"),
    path(
        "batches/<str:number>/portions/<int:pk>/amend/",
        portions.portion_amend,
        name="portion_amend",
    ),
    path(
        "batches/<str:number>/portions/<int:pk>/void/",
        portions.portion_void,
        name="portion_void",
    ),
    path(
        "batches/<str:number>/liquid/<slug:kind>/",
        liquids.liquid_read,
        name="liquid_read",
    ),
    path(
        "batches/<str:number>/liquid/<int:pk>/amend/",
        liquids.liquid_amend,
        name="liquid_amend",
    ),
    path(
        "batches/<str:number>/liquid/<int:pk>/void/",
        liquids.liquid_void,
        name="liquid_void",
    ),
    path("batches/<str:number>/paper/", papers.paper, name="paper"),
    path(
        "batches/<str:number>/paper/<int:pk>/",
        papers.paper_sheet,
        name="paper_sheet",
    ),
    path("batches/<str:number>/costs/", costs.costs, name="costs"),
    path("batches/<str:number>/costs/add/", costs.cost_add, name="cost_add"),
    path(
        "batches/<str:number>/costs/<int:pk>/amend/",
        costs.cost_amend,
        name="cost_amend",
    ),
    path(
        "batches/<str:number>/costs/<int:pk>/void/", costs.cost_void, name="cost_void"
    ),
    path("batches/<str:number>/pot/", stove.pot, name="pot"),
    path(
        "batches/<str:number>/discrepancies/<int:pk>/",
        discrepancies.discrepancy,
        name="discrepancy",
    ),
    path(
        "batches/<str:number>/discrepancies/<int:pk>/explain/",
        discrepancies.discrepancy_explain,
        name="discrepancy_explain",
    ),
    path("batches/<str:number>/finish/", batches.finish, name="finish"),
    path("batches/<str:number>/abandon/", batches.abandon, name="abandon"),
    path("batches/<str:number>/fill/", filling.fill, name="fill"),
    path("ph/", ph.ph, name="ph"),
    path("bench/<str:code>/titrate/<slug:kind>/", bench.titrate, name="titrate"),
    path(
        "bench/<str:code>/titrations/<int:pk>/void/",
        bench.titration_void,
        name="titration_void",
    ),
    path("bench/<str:code>/container/", bench.container, name="container"),
    path(
        "bench/<str:code>/containers/<int:pk>/amend/",
        bench.container_amend,
        name="container_amend",
    ),
    path(
        "bench/<str:code>/containers/<int:pk>/void/",
        bench.container_void,
        name="container_void",
    ),
    path("store/", store.store, name="store"),
    path("history/<str:code>/", batches.history, name="history"),
    path("places/", places.places, name="places"),
    path("places/put/", places.place_put, name="place_put"),
    path("bottles/", bottles.bottles, name="bottles"),
    path("bottles/<str:code>/", bottles.filling_lot, name="filling_lot"),
    path("bottles/<str:code>/sample/", filling.sample, name="sample"),
    path(
        "bottles/<str:code>/samples/<int:pk>/look/",
        samples.sample_look,
        name="sample_look",
    ),
    path(
        "bottles/<str:code>/looks/<int:pk>/amend/",
        samples.sample_look_amend,
        name="sample_look_amend",
    ),
    path(
        "bottles/<str:code>/looks/<int:pk>/void/",
        samples.sample_look_void,
        name="sample_look_void",
    ),
    path("bottles/<str:code>/labels/<int:pk>/", labels.label_issue, name="label_issue"),
    path(
        "bottles/<str:code>/labels/<int:pk>.pdf",
        labels.label_issue_pdf,
        name="label_issue_pdf",
    ),
    path("bottles/<str:code>/labels/counts/", labels.label_count, name="label_count"),
    path(
        "bottles/<str:code>/labels/counts/<int:pk>/amend/",
        labels.label_count_amend,
        name="label_count_amend",
    ),
    path(
        "bottles/<str:code>/labels/counts/<int:pk>/void/",
        labels.label_count_void,
        name="label_count_void",
    ),
    path("labels/<int:pk>/proof/", proofs.proof, name="label_proof"),
    path("labels/<int:pk>/proof.svg", proofs.proof_picture, name="label_proof_picture"),
    path("labels/formats/", sheet_formats.label_formats, name="label_formats"),
    path(
        "labels/formats/new/", sheet_formats.label_format_new, name="label_format_new"
    ),
    path("labels/formats/<int:pk>/", sheet_formats.label_format, name="label_format"),
    path("dispatches/", bottles.dispatches, name="dispatches"),
    path("dispatches/<str:code>/", bottles.dispatch, name="dispatch"),
]
