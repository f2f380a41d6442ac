/* Torque request of stability control or gearbox: carried unaltered, answered honestly. */
#include "torque_request.h"

#include "arithmetic.h"

/* Return a limit of the engine, or `otherwise` where it is absent or not known. */
static int64_t limit(const xb_store *store, int32_t index, int64_t otherwise)
{
    if (index == XB_NONE || xb_usable(&store->states[index]) == 0u) {
        return otherwise;
    }
    return store->states[index].value;
}

/* Return what is seen of an active request. */
static uint8_t answer_to(const xb_torque_request_spec *spec, const xb_torque_request_state *state,
                         const xb_store *store, int64_t wanted)
{
    const xb_quantity_state *actual = &store->states[spec->actual];
    uint8_t reached;
    uint8_t possible;

    if (xb_usable(actual) == 0u) {
        return (uint8_t)XB_TORQUE_NOT_KNOWN;
    }
    if (spec->increase != 0u) {
        reached = actual->value >= wanted - spec->tolerance;
        possible = wanted <= limit(store, spec->maximum, wanted);
    } else {
        reached = actual->value <= wanted + spec->tolerance;
        possible = -wanted <= limit(store, spec->friction, -wanted);
    }
    if (reached != 0u) {
        return (uint8_t)XB_TORQUE_FULFILLED;
    }
    if (possible == 0u || state->unfulfilled_for >= spec->settle) {
        return (uint8_t)XB_TORQUE_NOT_FULFILLED;
    }
    return (uint8_t)XB_TORQUE_BEING_FULFILLED;
}

/* Run one control tick. */
void xb_torque_request_step(const xb_torque_request_spec *spec, xb_torque_request_state *state,
                            const xb_store *store, const xb_power_state *power)
{
    const xb_quantity_state *request = &store->states[spec->request];
    const xb_quantity_state *active = &store->states[spec->active];
    uint8_t ignition = xb_ignition_is_on(power);
    uint8_t asked;
    uint8_t answer;

    /* LOSS */
    state->failsafe = ignition != 0u && (xb_lost(request) != 0u || xb_lost(active) != 0u);

    /* REQUEST: as it came, or none */
    asked = ignition != 0u && xb_usable(request) != 0u && xb_usable(active) != 0u
            && active->value != 0;
    xb_publish(store, spec->carried, asked != 0u ? request->value : spec->no_request,
               (uint8_t)XB_VALID, 1u);
    xb_publish(store, spec->carried_active, asked, (uint8_t)XB_VALID, 1u);

    /* ANSWER */
    answer = asked != 0u ? answer_to(spec, state, store, request->value)
                         : (uint8_t)XB_TORQUE_NO_REQUEST;
    if (answer == (uint8_t)XB_TORQUE_BEING_FULFILLED
        || answer == (uint8_t)XB_TORQUE_NOT_FULFILLED) {
        state->unfulfilled_for = xb_add_one(state->unfulfilled_for);
    } else {
        state->unfulfilled_for = 0u;
    }
    xb_publish(store, spec->answer, answer, (uint8_t)XB_VALID, 1u);
}
