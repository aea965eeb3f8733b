"""The clip kinds. To add one: write its module here, with a `Kind` at its end, and add that value's line below."""

from __future__ import annotations

from scenes.kinds import (
    aim_error,
    alignments,
    all_methods,
    build_up,
    cards,
    leading_eye,
    methods_summary,
    moving_eye,
    on_footage,
    over_the_top,
    own_cards,
    players_eye,
    practice,
    quiz,
    split,
    straight_in,
    summary_card,
    table_view,
    throw,
    where_it_works,
)
from scenes.kinds.kind import Kind

CLIP_KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        table_view.KIND,
        build_up.KIND,
        players_eye.KIND,
        split.NEAR_AND_FAR,
        split.TWO_METHODS,
        split.TWO_CUTS,
        split.TWO_EYES,
        alignments.KIND,
        moving_eye.KIND,
        quiz.KIND,
        aim_error.KIND,
        throw.KIND,
        over_the_top.KIND,
        straight_in.KIND,
        methods_summary.KIND,
        all_methods.KIND,
        where_it_works.KIND,
        leading_eye.KIND,
        practice.KIND,
        on_footage.KIND,
        cards.TITLE,
        cards.SECTION,
        summary_card.KIND,
        own_cards.CARD,
        own_cards.FILM,
    )
}
"""Name to kind, in the order in which they are told."""
