"""
What each kind of error means and what to do about it, by its `code`.

Each has a page at the address that an answer names as its `type` (RFC 9457, 3.1.1). A code that is
not listed is answered with the type `about:blank`.
"""

from __future__ import annotations

from typing import NamedTuple


class Kind(NamedTuple):
    """What happened, and what a program or a person does next."""

    means: str
    do: str


READ_AGAIN = "Read it again; decide on what it says now."
ASK_QUALITY = "Take another lot, or have quality judge this one."
NEW_KEY = "Send it with a key of its own."
BY_A_PERSON = "This is a person's decision; show the words of `detail` to one."

KINDS: dict[str, Kind] = {
    # Of the API itself.
    "validation": Kind("Fields are not valid.", "Mend what `errors` names; nothing was stored."),
    "unreadable": Kind("The body cannot be read.", "Send UTF-8 JSON as described."),
    "bad_parameter": Kind("A query parameter is unknown or not valid.", "Mend or leave it out."),
    "not_authenticated": Kind("Nobody is signed in.", "Send a token that is still good."),
    "permission_denied": Kind("The role or token does not allow it.", "Ask an administrator."),
    "not_found": Kind("There is no such thing, or not for you.", "Look the id up again."),
    "method_not_allowed": Kind("The address does not answer that method.", "See `Allow`."),
    "not_acceptable": Kind("The form of answer asked for is not there.", "Ask for JSON."),
    "unsupported_media_type": Kind("That form of body is not read.", "Send JSON."),
    "conflict": Kind("It clashes with what is stored.", READ_AGAIN),
    "in_use": Kind("Something else still uses it.", "Take it out of use instead of deleting it."),
    "stale": Kind("It has changed since it was read.", READ_AGAIN),
    "if_match_missing": Kind("A change must say of which version.", "Send If-Match: the ETag."),
    "too_large": Kind("The request is too large.", "Send less at a time."),
    "throttled": Kind("Too many requests.", "Wait as long as Retry-After says."),
    "database_away": Kind("The database is away.", "Repeat with the same Idempotency-Key."),
    "busy": Kind("Another change is being made.", "Repeat with the same Idempotency-Key."),
    "internal": Kind("Something went wrong here.", "Repeat once; then report `request_id`."),
    "idempotency_key_missing": Kind("A POST needs an Idempotency-Key.", NEW_KEY),
    "idempotency_key_malformed": Kind(
        "The key is not 16 to 255 visible characters without spaces.",
        "Send a longer or plainer key.",
    ),
    "idempotency_key_used": Kind("The key belongs to another request.", NEW_KEY),
    "still_running": Kind("The first request with this key still runs.", "Repeat it later."),
    "key_reused": Kind("The entry's own key was used for another entry.", NEW_KEY),
    "token_revoked": Kind("The token was taken back for good.", "Make a new one."),
    "for_a_person": Kind("A program may not decide this.", BY_A_PERSON),
    "not_yours": Kind("It belongs to a site you do not run.", "Ask an administrator there."),
    "belongs_elsewhere": Kind("The row is another site's.", "Name one of your own site."),
    # Stock.
    "not_enough_stock": Kind("The container or lot holds less.", "Take less, or another."),
    "on_the_way": Kind("The container is on its way to another site.", "Take another."),
    "consignment_ended": Kind("Nothing of the consignment is on the way.", READ_AGAIN),
    "lot_expired": Kind("The lot's shelf life or open life is over.", ASK_QUALITY),
    "lot_held": Kind("The lot is held.", ASK_QUALITY),
    "lot_quarantined": Kind("The lot waits for its check on receipt.", ASK_QUALITY),
    "lot_recalled": Kind("The lot is recalled; no reason passes that.", "Take another lot."),
    "lot_not_usable": Kind("The lot is of a state that is not mixed.", ASK_QUALITY),
    "wrong_lot": Kind("The container is of another lot than was named.", "Scan it again."),
    "wrong_material": Kind("The container holds another material.", "Fetch the right one."),
    "already_retested": Kind("The lot was extended once already.", BY_A_PERSON),
    "not_longer": Kind("A retest gives a later day, this one does not.", "Give a later day."),
    "already_reversed": Kind("The movement was taken back before.", READ_AGAIN),
    "not_reversible": Kind("This movement is not taken back.", "Enter a movement that corrects."),
    "already_lifted": Kind("The recall is lifted already.", READ_AGAIN),
    "count_not_open": Kind("The count is closed.", "Begin a new one."),
    "count_incomplete": Kind("Rows of the count are still open.", "Count them, or skip them."),
    "same_counter": Kind("Whoever counted may not approve.", "Somebody else approves."),
    # Buying.
    "order_state": Kind("The order's state does not allow it.", READ_AGAIN),
    "over_delivery": Kind("More came than was ordered.", "Say that it is taken all the same."),
    "below_least_order": Kind("The supplier takes no order this small.", "Order more."),
    "proposal_decided": Kind("The proposal is decided already.", READ_AGAIN),
    # What all sites work by.
    "already_decided": Kind("The proposed change is decided already.", READ_AGAIN),
    "changes_open": Kind("Proposed changes wait.", "Release or decline them first."),
    "overtaken": Kind("What is to change has changed since.", "Propose it anew."),
    "own_change": Kind("One's own change is released by another.", "Ask somebody else."),
    "second_signature_needed": Kind("The company asks for a second signature.", BY_A_PERSON),
    # Orders, plans and pours.
    "number_taken": Kind("The order number was taken meanwhile.", "Leave it out or give another."),
    "order_begun": Kind("Work on the order has begun.", BY_A_PERSON),
    "order_closed": Kind("The order is finished or cancelled.", "Send a new order."),
    "pour_fixed": Kind("The pour is past what would change.", BY_A_PERSON),
    "steps_signed": Kind("Steps of the pour are signed.", BY_A_PERSON),
    "step_signed": Kind("The step is signed already.", READ_AGAIN),
    "plan_not_ready": Kind("The plan is not solved yet.", "Ask again after Retry-After."),
    "plan_out_of_date": Kind("The shop changed since the plan was made.", "Ask for a new one."),
    "newer_plan": Kind("There is a newer plan.", "Compare and confirm that one."),
    "comparison_not_seen": Kind("What the plan changes was not read.", "Read the comparison."),
    "nothing_placed": Kind("The plan places nothing.", "Read its reasons."),
    "pattern_elsewhere": Kind("The pattern is another site's.", "Name one of your own."),
    "pattern_not_ready": Kind("The pattern is still examined.", "Ask again later."),
    "pattern_used": Kind("The pattern is used for a pour.", "Keep it."),
    "pattern_without_volume": Kind("The pattern encloses no volume.", "Mend the mesh."),
    "refused": Kind("The file was refused.", "See `detail`."),
    "photo_there": Kind("A photo is there already and is kept.", "Nothing is to do."),
    # At the pot.
    "not_ready": Kind("The gate before contact or a portion is closed.", BY_A_PERSON),
    "weighed_meanwhile": Kind("Somebody weighed into the row meanwhile.", READ_AGAIN),
    "batch_begun": Kind("The batch is begun.", READ_AGAIN),
    "batch_fixed": Kind("The batch is finished; it is only amended.", "Amend the weighing."),
    "portion_poured": Kind("The portion is poured already.", READ_AGAIN),
    "ratio_out_of_reach": Kind("No amount brings the ratio back.", BY_A_PERSON),
    "nothing_happened": Kind("Nothing is recorded that needs a new plan.", "Nothing is to do."),
    "scrapped_before": Kind("The pot was scrapped before that time.", READ_AGAIN),
    "empty": Kind("Nothing is filled in.", "Fill in what is known."),
    # Castings.
    "not_cured": Kind("The casting's clock is not open yet.", BY_A_PERSON),
    "too_hot": Kind("The casting is too hot to handle.", "Let it cool; read it again."),
    "casting_in_quarantine": Kind("The casting waits for a judgement.", BY_A_PERSON),
    "casting_not_ready": Kind(
        "The casting may not be sent yet, or is away already.", "Do what `detail` names first."
    ),
    "no_despatch": Kind("The note takes a delivery back; nothing was sent by it.", READ_AGAIN),
    "order_known": Kind(
        "The document was taken in before.", "Change or cancel that order, or send another ID."
    ),
    "not_away": Kind("The delivery's castings are back already.", READ_AGAIN),
    "not_curing": Kind("The pour is not poured, or off already.", READ_AGAIN),
    "in_oven": Kind("The casting is in the oven already.", READ_AGAIN),
    "not_in_oven": Kind("The stay in the oven is over or marked wrong.", READ_AGAIN),
    "lift_waits": Kind("A lift is still to be poured.", "Pour it, or have it planned again."),
    "not_lower": Kind("The casting lacks nothing, or is not being poured.", READ_AGAIN),
    "not_half_poured": Kind("No lift is poured in part with no pot to come.", READ_AGAIN),
    "not_yet": Kind("The step comes later.", "Do what comes before."),
    "minutes_fixed": Kind("The hands-on time is part of the record.", "Nothing is to do."),
    "minutes_out_of_range": Kind("The hands-on time cannot be.", "Give minutes in range."),
    # Tools.
    "tool_not_ready": Kind("The tool's state does not allow it.", READ_AGAIN),
    "over_limit": Kind("The run was hotter or harder than the tool's limit.", BY_A_PERSON),
    "outside_tolerance": Kind("The tool is to pass with a finding that is not good.", BY_A_PERSON),
    "checkpoints_left_out": Kind("The tool is to pass with its list half done.", BY_A_PERSON),
    "agents_clash": Kind("Two release agents do not go together.", "Strip the face first."),
    "not_yet_dry": Kind("The coat below is not dry.", "Wait as long as the recipe says."),
    "no_replacement_due": Kind("No replacement is proposed for the tool.", READ_AGAIN),
    # Messages and people.
    "not_failed": Kind("The message did not fail.", "Nothing is to do."),
    "not_sent": Kind("The mail server did not take the message.", "See `detail`."),
    "not_told": Kind("The reminder has not been told.", "Wait until it is due."),
    "founded_already": Kind("There is a shop already.", "Sign in to it."),
    "last_one": Kind("They are the last administrator.", "Name another first."),
    "second_step_on": Kind("The second step is on already.", "Nothing is to do."),
    "yourself": Kind("Nobody takes themselves out.", "Another administrator does."),
}


def slug_of(code: str) -> str:
    """Return the last part of a kind's address."""
    return code.replace("_", "-")


BY_SLUG = {slug_of(code): code for code in KINDS}
