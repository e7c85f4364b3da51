// SPDX-License-Identifier: MIT
/* Signs into scores. Each function weighs one cause; the weights are our own (see cause.h) and stand beside what
 * they are for. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cause_private.h"

/* What failed, as far as causes are concerned. */
struct failure {
    bool too_short, gap, overshoot, spread, ramp, too_long, any;
};

struct weighing {
    const struct cause_task *task;
    const struct cause_signs *signs;
    const struct cause_history *history; // NULL: none
    struct cause_comparison comparison;
    struct failure failure;
    double full_rise_c_per_s; // of earlier runs, else of this one; NAN
    double holding;           // usual output at this level; NAN
    double lost_share;
};

static double clamp(double value, double most) {
    return fmax(-most, fmin(most, value));
}

static void add(struct cause_opinion *opinion, enum cause_sign sign, double weight, double value, double usual) {
    if (opinion->evidence_count == CAUSE_MOST_EVIDENCE || isnan(weight))
        return;
    opinion->evidence[opinion->evidence_count++] =
        (struct cause_evidence){.sign = sign, .weight = weight, .value = value, .usual = usual};
    opinion->score += weight;
}

static void add_at(struct cause_opinion *opinion, enum cause_sign sign, double weight, double value, double usual,
                   int64_t t_ms, int64_t channel_id) {
    const size_t count = opinion->evidence_count;

    add(opinion, sign, weight, value, usual);
    if (opinion->evidence_count > count) {
        opinion->evidence[count].t_ms = t_ms;
        opinion->evidence[count].channel_id = channel_id;
    }
}

/* By how many tolerances a ratio is off; NAN where there is no comparison. */
static double off(const struct cause_against *against) {
    return log(against->ratio) / against->tolerance;
}

/* ---- what failed ---- */

static struct failure find_failure(const struct verdict *verdicts, size_t count) {
    struct failure failure = {0};

    for (size_t i = 0; i < count; i++) {
        const struct verdict *verdict = &verdicts[i];
        const bool gap = verdict->reason == REASON_GAP || verdict->reason == REASON_TOO_FEW;

        if (verdict->outcome == OUTCOME_MET || verdict->reason == REASON_RUN_OPEN)
            continue;
        failure.any = true;
        failure.gap |= gap;
        if (gap)
            continue;
        switch (verdict->requirement) {
        case REQUIREMENT_SOAK_LEAST:
        case REQUIREMENT_HOLD_LEAST:
        case REQUIREMENT_EQUIVALENT: failure.too_short = true; break;
        case REQUIREMENT_OVERSHOOT: failure.overshoot |= verdict->outcome == OUTCOME_NOT_MET; break;
        case REQUIREMENT_SPREAD: failure.spread |= verdict->outcome == OUTCOME_NOT_MET; break;
        case REQUIREMENT_RAMP: failure.ramp |= verdict->outcome == OUTCOME_NOT_MET; break;
        case REQUIREMENT_SOAK_MOST: failure.too_long |= verdict->outcome == OUTCOME_NOT_MET; break;
        default: break;
        }
    }
    return failure;
}

static bool explains(enum cause cause, const struct weighing *weighing) {
    const struct failure *failure = &weighing->failure;

    switch (cause) {
    case CAUSE_SENSOR: return failure->any;
    case CAUSE_ELEMENT:
        return failure->too_short || failure->spread || (failure->gap && weighing->signs->records.silent > 0);
    case CAUSE_DOOR: return failure->too_short || failure->spread || failure->overshoot;
    case CAUSE_OVERLOAD: return failure->too_short || failure->spread;
    case CAUSE_SETPOINT: return failure->too_short || failure->overshoot || failure->ramp || failure->too_long;
    case CAUSE_TUNING: return failure->too_short || failure->overshoot || failure->ramp || failure->spread;
    case CAUSE_LINE:
    case CAUSE_RECORDER: return failure->gap;
    }
    return false;
}

enum { MANY_SWINGS = 4, MANY_UNTOLD = 3 }; // more where no output tells a swing from a dip

/* More turns than usual, and of a size that is not noise. */
static bool swings(const struct weighing *weighing) {
    static const double least_c = 2;
    const double many = MANY_SWINGS + (weighing->signs->has_output ? 0 : MANY_UNTOLD);

    return (double)weighing->signs->swings >= weighing->comparison.swings_usual + many &&
           weighing->signs->swing_c > least_c;
}

/* ---- dips ---- */

enum dip_look { DIP_COMMANDED, /* by setpoint or controller */ DIP_DOOR, DIP_SUPPLY, DIP_LONE, DIP_UNCLEAR };

/* How fast it would fall without any power; NAN if not known. */
static double fall_without_power(const struct weighing *weighing, const struct cause_dip *dip) {
    static const double room_c = 20, loss_exponent = 1.4; // see cause_usual.c
    const double by_output = weighing->full_rise_c_per_s * weighing->holding;
    const double level_c =
        weighing->signs->level.count > 0 ? weighing->signs->level.mean : weighing->task->temperature_c;

    return (isnan(by_output) ? weighing->comparison.cools_usual : by_output) *
           pow(fmax(dip->from_c - room_c, 1) / fmax(level_c - room_c, 1), loss_exponent);
}

/* Without power the fall is what the oven loses, and full output changes nothing. Through a door it loses more, or
 * full output holds it. */
static enum dip_look look_at_dip(const struct weighing *weighing, const struct cause_dip *dip) {
    static const double lone_part = 0.1, fast = 1.8, as_without = 1.3, slower = 0.7, held = 0.5, not_held = 0.65;
    static const double commanded = 0.5, heat_off = 0.3, swing_most_c = 30;
    const double ratio = dip->fall_c_per_s / fall_without_power(weighing, dip);
    const double at_full = dip->full_fall_c_per_s / dip->fall_c_per_s;

    if (dip->setpoint_fell_c > commanded * dip->depth_c ||
        (dip->output_least < heat_off * dip->output_before && dip->depth_c < swing_most_c))
        return DIP_COMMANDED;
    if (!isnan(dip->load_fell_c) && dip->load_fell_c < -lone_part * dip->depth_c)
        return DIP_LONE;
    if (isnan(dip->output_before)) // without an output channel only the fall can tell
        return swings(weighing)      ? DIP_COMMANDED
               : ratio >= fast       ? DIP_DOOR
               : ratio <= as_without ? DIP_SUPPLY
                                     : DIP_UNCLEAR;
    if (ratio >= fast || (dip->back_ms != 0 && (isnan(at_full) || at_full < held)))
        return DIP_DOOR;
    return ratio <= as_without && ((at_full >= not_held && ratio >= slower) || dip->back_ms == 0) ? DIP_SUPPLY
                                                                                                  : DIP_UNCLEAR;
}

static void weigh_dips(const struct weighing *weighing, enum cause cause, struct cause_opinion *opinion) {
    static const double one = 3.2, unclear_door = 1.8, unclear_element = 1.4, wrong = -1, most = 4.5;
    double sum = 0;

    for (size_t i = 0; i < weighing->signs->dip_count; i++) {
        const struct cause_dip *dip = &weighing->signs->dips[i];
        const enum dip_look look = look_at_dip(weighing, dip);
        double weight = 0;

        if (look == DIP_COMMANDED)
            continue;
        if (cause == CAUSE_DOOR)
            weight = look == DIP_DOOR ? one : look == DIP_UNCLEAR ? unclear_door : wrong;
        else if (cause == CAUSE_ELEMENT)
            weight = look == DIP_SUPPLY ? one : look == DIP_UNCLEAR ? unclear_element : wrong;
        else if (cause == CAUSE_SENSOR)
            weight = look == DIP_LONE ? one : wrong;
        weight = clamp(weight, most - fmin(most, fabs(sum)));
        sum += weight;
        if (weight != 0)
            add_at(opinion,
                   look == DIP_LONE     ? SIGN_DIP_ALONE
                   : look == DIP_SUPPLY ? SIGN_DIP_SLOW
                                        : SIGN_DIP_FAST,
                   weight, look == DIP_LONE ? dip->depth_c : dip->fall_c_per_s,
                   look == DIP_LONE ? dip->load_fell_c : fall_without_power(weighing, dip), dip->begun_ms, 0);
    }
}

static size_t count_dips(const struct weighing *weighing, enum dip_look look) {
    size_t count = 0;

    for (size_t i = 0; i < weighing->signs->dip_count; i++)
        count += look_at_dip(weighing, &weighing->signs->dips[i]) == look;
    return count;
}

static bool has_dips(const struct weighing *weighing) {
    for (size_t i = 0; i < weighing->signs->dip_count; i++)
        if (look_at_dip(weighing, &weighing->signs->dips[i]) != DIP_COMMANDED)
            return true;
    return false;
}

/* ---- one cause each ---- */

static void weigh_sensor(const struct weighing *weighing, struct cause_opinion *opinion) {
    const struct cause_signs *signs = weighing->signs;
    const struct cause_comparison *with = &weighing->comparison;
    const double away = fabs(with->difference.now - with->difference.usual) / with->difference.tolerance;
    const double holding = fabs(off(&with->holding)), strength = fabs(off(&with->strength));
    const double noise_c = fmax(signs->noise_c, 0.1), jump = fabs(signs->jump_c);
    const double normal = weighing->failure.gap ? 0.3 : 1; // that a sensor reads well says little of its contact
    const double rest = swings(weighing) ? 0.3 : 1;        // what swings is hardly at rest
    const double records = (double)(signs->records.readings > 0 ? signs->records.readings : 1);

    if (signs->records.open > 0)
        add(opinion, SIGN_OPEN_SENSOR,
            weighing->failure.gap ? 4.5 : 1 + clamp((double)signs->records.open / records * 100, 2),
            (double)signs->records.open, NAN);
    if (signs->records.unbelievable > 0)
        add(opinion, SIGN_UNBELIEVABLE, 0.5 + clamp((double)signs->records.unbelievable / records * 100, 2.5),
            (double)signs->records.unbelievable, NAN);
    if (!isnan(away))
        add_at(opinion, SIGN_DIFFERENCE, away > 1 ? rest * clamp(0.8 + away, 4) : normal * (-2.2 + away),
               with->difference.now, with->difference.usual, 0,
               with->differing > 1 && with->differing == signs->load_count ? 0 : with->difference_channel_id);
    if (fabs(signs->difference_drift_c) > 1 + 2 * noise_c)
        add(opinion, SIGN_DRIFT, clamp(fabs(signs->difference_drift_c) - 1, 2), signs->difference_drift_c, NAN);
    /* The elements heat as ever, yet the same reading needs another output: the reading is another temperature. */
    if (!isnan(holding))
        add(opinion, SIGN_HOLDING,
            holding > 1 ? rest * clamp(holding - 0.5 - fmax(0, strength - 1), 2.5) : normal * (-1 + holding / 2),
            with->holding.now, with->holding.usual);
    if (weighing->history != NULL && weighing->history->channel_id != 0)
        add_at(opinion, SIGN_HISTORY, 2 * weighing->history->sure, weighing->history->error_c, NAN, 0,
               weighing->history->channel_id);
    if (jump > 8 * noise_c)
        add_at(opinion, SIGN_JUMP, clamp(jump / 2, 3), signs->jump_c, NAN, signs->jump_ms, signs->jump_channel_id);
    weigh_dips(weighing, CAUSE_SENSOR, opinion);
}

/* What part of the missing strength that the holding output tells of is missing at the cold end too: 1 with weak
 * elements, 0 with an oven that loses more. 1 where it is not known. */
static double cold_part(const struct cause_comparison *with) {
    const double part = log(with->strength_cold.ratio) / -log(with->holding.ratio);

    return isnan(part) ? 1 : part;
}

static void weigh_element(const struct weighing *weighing, struct cause_opinion *opinion) {
    const struct cause_signs *signs = weighing->signs;
    const struct cause_comparison *with = &weighing->comparison;
    const double weaker = -off(&with->strength), more = off(&with->holding);
    const double trail = off(&with->trail);
    const double pinned_min = (double)signs->pinned_ms / 60000;
    const double falls = signs->output_drift - with->output_drift_usual;
    const double normal = count_dips(weighing, DIP_SUPPLY) > 0 ? 0.2 : 1; // for the rest of the time

    if (!isnan(weaker))
        /* Without output and charge, weak elements and a heavy charge look the same. */
        add(opinion, SIGN_STRENGTH,
            weaker > 1 ? clamp(weaker, signs->has_output || signs->load_count > 0 ? 3 : 1.4)
                       : normal * (-2.5 + clamp(weaker, 1)),
            with->strength.now, 1);
    /* Weak elements lack the same part at every temperature: what the holding output says, the cold end says too.
     */
    if (!isnan(more))
        add(opinion, SIGN_HOLDING,
            more <= 1                                        ? normal * (-2 + clamp(more, 1))
            : cold_part(with) < 0.5 && !(with->abrupt > 0.6) ? -1.5
                                                             : clamp(more, 2.5),
            with->holding.now, with->holding.usual);
    if (pinned_min > 1)
        add(opinion, SIGN_PINNED, clamp(pinned_min / 2, 3), (double)signs->pinned_ms, NAN);
    /* An output that keeps falling feeds a charge that is still taking up heat. */
    if (falls < -0.08 && (weaker > 1 || more > 1))
        add(opinion, SIGN_HOLDING_FALLS, clamp(falls * 15, 3.5), falls, with->output_drift_usual);
    if (trail > 1 && weaker > 1)
        add(opinion, SIGN_TRAIL, -clamp(trail - 1, 2), with->trail.now, with->trail.usual);
    if (signs->records.fell_in_gap_c > 5 && signs->records.silent > 0)
        add(opinion, SIGN_GAP_COLD, 2.5, signs->records.fell_in_gap_c, NAN);
    if (!signs->has_output)
        add(opinion, SIGN_NOT_MEASURED, 0, NAN, NAN);
    weigh_dips(weighing, CAUSE_ELEMENT, opinion);
}

static void weigh_door(const struct weighing *weighing, struct cause_opinion *opinion) {
    const struct cause_comparison *with = &weighing->comparison;
    const double more = off(&with->holding), hot = -off(&with->strength_hot);

    weigh_dips(weighing, CAUSE_DOOR, opinion);
    if (!has_dips(weighing))
        add(opinion, SIGN_NO_DIP, -2, NAN, NAN);
    /* Ajar all along: the loss grows with temperature, so that the cold end is as ever. */
    if (more > 1 && hot > 1 && cold_part(with) < 0.5 && !(with->abrupt > 0.6)) {
        add(opinion, SIGN_HOLDING, clamp(more, 2.5), with->holding.now, with->holding.usual);
        add(opinion, SIGN_STRENGTH_FALLS, clamp(hot, 3), with->strength_hot.now, with->strength_cold.now);
    }
}

static void weigh_overload(const struct weighing *weighing, struct cause_opinion *opinion) {
    const struct cause_comparison *with = &weighing->comparison;
    const double trail = off(&with->trail), weaker = -off(&with->strength), more = off(&with->holding);
    const double falls = weighing->signs->output_drift - with->output_drift_usual;
    const double differ = fabs(with->difference.now - with->difference.usual) / with->difference.tolerance;
    const double later = (with->equalising.now - with->equalising.usual) / with->equalising.tolerance;

    if (!isnan(trail))
        add(opinion, SIGN_TRAIL, trail > 1 ? clamp(trail * 0.8, 3.5) : -2.5 + clamp(trail, 1), with->trail.now,
            with->trail.usual);
    if (!isnan(later) && fabs(later) > 1 && !(differ > 2)) // a load sensor that reads low comes in late, too
        add(opinion, SIGN_EQUALISING, clamp(later / 2, 1.5), with->equalising.now, with->equalising.usual);
    if (!isnan(weaker))
        add(opinion, SIGN_STRENGTH, weaker > 1 ? clamp(weaker / 2, 1.5) : -0.8, with->strength.now, 1);
    if (falls < -0.08 && weaker > 1)
        add(opinion, SIGN_HOLDING_FALLS, clamp(-falls * 15, 3.5), falls, with->output_drift_usual);
    else if (!isnan(more) && weaker > 1)
        add(opinion, SIGN_HOLDING, fabs(more) < 1 ? 1 : -clamp(fabs(more), 2), with->holding.now,
            with->holding.usual);
    if (weighing->signs->load_count == 0)
        add(opinion, SIGN_NOT_MEASURED, 0, NAN, NAN);
}

/* From when the controller may leave the plan's level: the charge has to come in and stay for the time required. */
static double needed_ms(const struct weighing *weighing) {
    const double usual_ms = weighing->comparison.equalising.usual;

    return (double)weighing->task->required_ms + (isnan(usual_ms) ? 0 : usual_ms);
}

/* The programme is at fault if it ended before the charge had its time, and was shorter than in earlier runs: an
 * oven that heats slowly comes late to the same programme. */
static double weigh_time(const struct weighing *weighing, double needed_ms) {
    static const double enough = 0.97, per_share = 20, most = 3, shorter = 1.5, alone = -1, against = -1.5;
    const struct cause_signs *signs = weighing->signs;
    const struct cause_comparison *with = &weighing->comparison;
    const double held_ms = (double)signs->held_in_band_ms;
    const double programme = signs->has_setpoint ? (double)signs->setpoint_held_ms / with->held_usual_ms
                                                 : held_ms / with->in_band_usual_ms;
    const bool slower = fabs(off(&with->strength)) > 1; // without a setpoint channel it may have come late

    if (signs->told_ms == 0 || held_ms <= 0 || !weighing->failure.too_short ||
        !(signs->has_setpoint || signs->has_output))
        return NAN;
    if (held_ms >= enough * needed_ms || programme >= enough || (!signs->has_setpoint && slower))
        return against;
    return clamp((needed_ms - held_ms) / needed_ms * per_share, most) + (programme < enough ? shorter : alone);
}

static void weigh_setpoint(const struct weighing *weighing, struct cause_opinion *opinion) {
    static const double tolerance_c = 1.5, as_planned = -2, only_that = 0.25;
    const struct cause_signs *signs = weighing->signs;
    const struct cause_comparison *with = &weighing->comparison;
    const double plan_c = weighing->task->temperature_c, needed = needed_ms(weighing);
    const double told_c = isnan(with->setpoint_usual_c) ? plan_c : with->setpoint_usual_c;
    const double usual_c = isnan(with->level_usual_c) ? plan_c : with->level_usual_c;
    const double time = weigh_time(weighing, needed), part = time > 0 ? only_that : 1;

    if (!isnan(signs->setpoint_c)) {
        const double away_c = fmin(fabs(signs->setpoint_c - told_c), fabs(signs->setpoint_c - plan_c));

        add_at(opinion, SIGN_SETPOINT, away_c > tolerance_c ? clamp(away_c, 5) : part * as_planned,
               signs->setpoint_c, plan_c, signs->setpoint_ms, 0);
    } else if (signs->level.count > 0) {
        const double off_c = fmin(fabs(signs->level.mean - plan_c), fabs(signs->level.mean - usual_c));

        add(opinion, SIGN_LEVEL, off_c > 2 * tolerance_c ? clamp(off_c / 2, 3.5) : part * -1.5, signs->level.mean,
            plan_c);
    }
    if (!isnan(time))
        add_at(opinion, SIGN_SETPOINT_TIME, time, (double)signs->held_in_band_ms, needed, signs->told_ms, 0);
    if (!signs->has_setpoint)
        add(opinion, SIGN_NOT_MEASURED, 0, NAN, NAN);
}

static void weigh_tuning(const struct weighing *weighing, struct cause_opinion *opinion) {
    const struct cause_signs *signs = weighing->signs;
    const struct cause_comparison *with = &weighing->comparison;
    const double usual_over_c = isnan(with->overshoot.usual) ? 1 : with->overshoot.usual;
    const double over_c = signs->overshoot_c - fmax(usual_over_c, 0);

    if (swings(weighing))
        add(opinion, SIGN_SWING_SIZE, clamp(2 + signs->swing_c / 3, 4.5), signs->swing_c, with->swing.usual);
    else
        add(opinion, SIGN_SWINGS, -0.8, (double)signs->swings, with->swings_usual);
    if (!isnan(over_c))
        add(opinion, SIGN_OVERSHOOT, over_c > 1.5 ? clamp(over_c / 1.5, 3.2) : -1.2, signs->overshoot_c,
            with->overshoot.usual);
}

static void weigh_line(const struct weighing *weighing, struct cause_opinion *opinion) {
    const struct cause_records *records = &weighing->signs->records;
    const double usual = isnan(weighing->comparison.garbled_usual) ? 0 : weighing->comparison.garbled_usual;

    if (records->line_losses > 0)
        add(opinion, SIGN_LINE_LOST, 4, (double)records->line_ms, NAN);
    if (weighing->lost_share > usual + 0.005)
        add(opinion, SIGN_LOST_REPLIES, clamp(1 + (weighing->lost_share - usual) * 30, 4), weighing->lost_share,
            usual);
    else if (weighing->failure.gap && records->silent + records->garbled > records->open + records->unbelievable)
        add(opinion, SIGN_LOST_REPLIES, 2.8, weighing->lost_share, usual); // few, but all that is missing
    else
        add(opinion, SIGN_LOST_REPLIES, -2.5, weighing->lost_share, usual);
    if (records->fell_in_gap_c > 5 && records->silent > 0)
        add(opinion, SIGN_GAP_COLD, -2, records->fell_in_gap_c, NAN);
}

static void weigh_recorder(const struct weighing *weighing, struct cause_opinion *opinion) {
    const struct cause_records *records = &weighing->signs->records;

    if (records->recorder_stops > 0)
        add(opinion, SIGN_RECORDER, 4.5, (double)records->recorder_ms, NAN);
    else
        add(opinion, SIGN_RECORDER, records->common_gaps > 0 && records->overflows > 0 ? 2.5 : -3, 0, NAN);
}

/* ---- all of them ---- */

typedef void weigher(const struct weighing *weighing, struct cause_opinion *opinion);
static weigher *const WEIGHERS[CAUSE_COUNT] = {weigh_sensor,   weigh_element, weigh_door, weigh_overload,
                                               weigh_setpoint, weigh_tuning,  weigh_line, weigh_recorder};

static int compare_evidence(const void *a, const void *b) {
    const double one = fabs(((const struct cause_evidence *)a)->weight);
    const double other = fabs(((const struct cause_evidence *)b)->weight);

    return (one < other) - (one > other);
}

static int compare_opinions(const void *a, const void *b) {
    const struct cause_opinion *one = a, *other = b;

    if (one->score != other->score)
        return (one->score < other->score) - (one->score > other->score);
    return (one->cause > other->cause) - (one->cause < other->cause);
}

static double find_full_rise(const struct cause_signs *signs, const struct cause_usual *usual) {
    struct cause_mean mean = {0};

    for (size_t i = 0; usual != NULL && i < usual->count; i++) {
        const double rise = cause_full_rise(&usual->runs[i],
                                            signs->level.count > 0 ? signs->level.mean : usual->runs[i].level.mean);

        if (!isnan(rise))
            cause_mean_add(&mean, rise);
    }
    return mean.count > 0 ? mean.mean : cause_full_rise(signs, signs->level.mean);
}

static double find_holding(const struct cause_signs *signs, const struct cause_usual *usual,
                           const struct cause_comparison *comparison) {
    if (!isnan(comparison->holding.usual))
        return comparison->holding.usual;
    if (usual != NULL && usual->count > 0 && usual->runs[usual->count - 1].output.count > 0)
        return usual->runs[usual->count - 1].output.mean;
    return signs->output.count > 0 ? signs->output.mean : NAN;
}

bool cause_weigh(const struct cause_task *task, const struct cause_signs *signs, const struct cause_usual *usual,
                 const struct cause_history *history, const struct verdict *verdicts, size_t verdict_count,
                 struct cause_opinion opinions[CAUSE_COUNT]) {
    struct weighing weighing = {
        .task = task, .signs = signs, .history = history, .failure = find_failure(verdicts, verdict_count)};
    const struct cause_records *records = &signs->records;

    cause_compare(signs, usual, &weighing.comparison);
    weighing.full_rise_c_per_s = find_full_rise(signs, usual);
    weighing.holding = find_holding(signs, usual, &weighing.comparison);
    weighing.lost_share =
        records->readings > 0 ? (double)(records->garbled + records->silent) / (double)records->readings : 0;
    memset(opinions, 0, CAUSE_COUNT * sizeof opinions[0]);
    for (int i = 0; i < CAUSE_COUNT; i++) {
        opinions[i].cause = (enum cause)i;
        WEIGHERS[i](&weighing, &opinions[i]);
        if (!explains((enum cause)i, &weighing))
            add(&opinions[i], SIGN_NOT_EXPLAINED, -CAUSE_UNEXPLAINED, NAN, NAN);
        qsort(opinions[i].evidence, opinions[i].evidence_count, sizeof opinions[i].evidence[0], compare_evidence);
    }
    qsort(opinions, CAUSE_COUNT, sizeof opinions[0], compare_opinions);
    return opinions[0].score >= CAUSE_LIKELY;
}
