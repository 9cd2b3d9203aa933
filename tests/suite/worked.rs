//! Published worked examples, computed by our formulas and columns within their tolerance.
//!
//! `tests/data/worked_examples.json` holds inputs, printed results, tolerance and source of each;
//! here stands only how we compute it. Left out: `BM-02`, which needs 1,424 rows of another file.

use super::story::{Cells, Story, unit_of};
use portledger::table::Cell;
use serde_json::Value;
use std::sync::OnceLock;

/// How many examples run.
const N_EXAMPLES: usize = 89;

/// How a result is computed.
enum How {
    /// A formula; a name in braces is an input, or another result of the same example.
    Formula(&'static str),
    /// A column of a small plan, for each place of a list of results.
    Plan(fn(&Example, usize) -> Cell),
}

use How::{Formula, Plan};

/// Each group of examples with a result and how it is computed.
const HOW: &[(&[&str], &str, How)] = &[
    // IEEE 802.3 task force slides on the channel formula of ISO/IEC 11801.
    (
        &["CU-01", "CU-02", "CU-03"],
        "copper_and_shield",
        Formula(
            "({cord_factor} * ({a} * sqrt({frequency} / 1 MHz) + {c} / sqrt({frequency} / 1 MHz)) + {connectors} * {connector_coefficient} * sqrt({frequency} / 1 MHz)) * 1 dB",
        ),
    ),
    (
        &["CU-01", "CU-02", "CU-03"],
        "material",
        Formula("{cord_factor} * {b} * ({frequency} / 1 MHz) * 1 dB"),
    ),
    (
        &["CU-01", "CU-03"],
        "total",
        Formula("pair_loss(\"Cat5e\", {frequency}, 100 m, 20 °C)"),
    ),
    (
        &["CU-02"],
        "total",
        Formula("pair_loss(\"Cat6\", {frequency}, 100 m, 20 °C)"),
    ),
    (
        &["CU-05"],
        "copper_and_shield",
        Formula(
            "(1.05 * ({a} * sqrt({frequency} / 1 MHz) + {c} / sqrt({frequency} / 1 MHz)) + 4 * {connector_coefficient} * sqrt({frequency} / 1 MHz)) * 1 dB",
        ),
    ),
    (
        &["CU-05"],
        "material",
        Formula("1.05 * {b} * ({frequency} / 1 MHz) * 1 dB"),
    ),
    (
        &["CU-09"],
        "attenuation",
        Formula("pair_loss(\"Cat6\", {frequencies}, 100 m, 20 °C)"),
    ),
    // Inspection and cleaning procedures.
    (
        &["DC-01"],
        "added_loss",
        Formula("as_db(1 / (1 - {light_blocked}))"),
    ),
    // Textbooks on dispersion and rise times.
    (
        &["DI-01"],
        "total_dispersion",
        Formula(
            "chromatic_dispersion({wavelength}, {zero_dispersion_wavelength}, {slope_S0}) * {spectral_width} * {length}",
        ),
    ),
    (
        &["DI-02"],
        "dispersion",
        Formula("chromatic_dispersion({wavelengths}, {zero_dispersion_wavelength}, {slope_S0})"),
    ),
    (
        &["DI-02"],
        "waveguide_1550",
        Formula(
            "chromatic_dispersion({wavelengths[1]}, {zero_dispersion_wavelength}, {slope_S0}) - {material_1550} - {profile_1550}",
        ),
    ),
    (
        &["DI-03"],
        "material_dispersion",
        Formula("{material_constant} / ({wavelength} * 299792458 m/s)"),
    ),
    (
        &["DI-03"],
        "broadening",
        Formula("{material_dispersion} * {rms_spectral_width}"),
    ),
    (
        &["DI-07"],
        "nrz_rate",
        Formula("1 bit / sqrt({rise_tx}^2 + {rise_rx}^2 + {rise_fibre}^2)"),
    ),
    (&["DI-07"], "rz_rate", Formula("{nrz_rate} / 2")),
    (
        &["DI-08"],
        "link_rise_time",
        Formula("sqrt({rise_tx}^2 + {material}^2 + {modal}^2 + {rise_rx}^2)"),
    ),
    (
        &["DI-12"],
        "dispersion_limited_length",
        Formula("{dispersion_tolerance} / {dispersion}"),
    ),
    (
        &["DI-04"],
        "rms_broadening",
        Formula(
            "sqrt(({rms_spectral_width} * {material_dispersion})^2 + ({NA}^2 / (4 * sqrt(3) * {core_index} * 299792458 m/s))^2)",
        ),
    ),
    (
        &["DI-04"],
        "bandwidth_length",
        Formula("0.2 / {rms_broadening}"),
    ),
    (
        &["DI-05"],
        "delay_difference",
        Formula("propagation({length}, {core_index}) * {relative_index_difference}"),
    ),
    (
        &["DI-05"],
        "rms_broadening",
        Formula("{delay_difference} / (2 * sqrt(3))"),
    ),
    (
        &["DI-05"],
        "max_bit_rate",
        Formula("0.2 bit / {rms_broadening}"),
    ),
    (
        &["DI-05"],
        "bandwidth_length",
        Formula("0.2 / {rms_broadening} * {length}"),
    ),
    (
        &["MB-03"],
        "max_dispersion",
        Formula("sqrt((0.5 bit / {bit_rate})^2 - {rise_rx}^2 - {rise_tx}^2) / {length}"),
    ),
    (
        &["MB-03"],
        "bandwidth_distance",
        Formula("0.5 / {max_dispersion}"),
    ),
    (&["MB-04"], "product", Formula("{rate} * {length}")),
    (&["MB-04"], "within_limit", Formula("{product} <= {limit}")),
    (
        &["MB-05"],
        "bandwidth_length",
        Formula("{lengths} * {rate} / 1 bit"),
    ),
    (
        &["MB-05"],
        "reduction",
        Formula("1 - {lengths[1]} / {lengths[0]}"),
    ),
    // Design guides on a failed uplink and on oversubscription.
    (&["FU-01"], "capacity_lost", Plan(capacity_lost)),
    (
        &["OS-03", "OS-04"],
        "downlink",
        Plan(|case, _| leaf(case, "access_offered")),
    ),
    (
        &["OS-03", "OS-04"],
        "uplink",
        Plan(|case, _| leaf(case, "uplink_capacity")),
    ),
    (
        &[
            "OS-03", "OS-04", "OS-06", "OS-07", "OS-08", "OS-09", "OS-10",
        ],
        "ratio",
        Plan(|case, _| leaf(case, "ratio")),
    ),
    (
        &["BM-04"],
        "total_10G",
        Plan(|case, at| spines(case, at, 0)),
    ),
    (
        &["BM-04"],
        "total_25G",
        Plan(|case, at| spines(case, at, 1)),
    ),
    (
        &["BM-05"],
        "total_40G",
        Plan(|case, at| spines(case, at, 0)),
    ),
    (
        &["BM-05"],
        "total_100G",
        Plan(|case, at| spines(case, at, 1)),
    ),
    (
        &["BM-03"],
        "dac_cables",
        Plan(|case, _| cables(case, "links.medium.kind == \"twinax\"")),
    ),
    (
        &["BM-03"],
        "aoc_cables",
        Plan(|case, _| cables(case, "links.medium.kind == \"active optical\"")),
    ),
    (
        &["BM-03"],
        "cat6_cables",
        Plan(|case, _| cables(case, "links.medium.kind == \"twisted pair\"")),
    ),
    (
        &["BM-03"],
        "total",
        Plan(|case, _| cables(case, "is_given(links.medium.kind)")),
    ),
    (
        &["BM-06"],
        "slack_total",
        Formula("{slack_at_distribution} + {excess_at_outlet}"),
    ),
    (
        &["BM-06"],
        "slack_total_in",
        Formula("{slack_in[0]} + {slack_in[1]}"),
    ),
    // IEEE 802.3 link model for 1000BASE-SX and 10GBASE-SR.
    (
        &["LM-01", "LM-02"],
        "channel_insertion_loss",
        Formula("{length} * model_loss({attenuation_850}, {wavelength}) + {connections}"),
    ),
    (
        &["LM-03"],
        "unallocated_margin",
        Formula("{link_power_budget} - {channel_insertion_loss} - {link_power_penalties}"),
    ),
    (
        &["LM-06"],
        "fibre_loss",
        Formula("{length} * model_loss({attenuation_850}, {wavelength})"),
    ),
    (
        &["LM-07"],
        "mpn_penalty",
        Formula("noise_penalty({sigma_mpn}, 1)"),
    ),
    (
        &["LM-08"],
        "mpn_penalty_corrected",
        Formula("noise_penalty({sigma_mpn}, 1 / from_db({isi_penalty}))"),
    ),
    // Launch, sensitivity and fibre loss are printed with LM-09, which is the same note.
    (
        &["LM-08"],
        "margin",
        Formula("-6.4 dBm - -10 dBm - 0.36 dB - {isi_penalty} - {mpn_penalty_corrected}"),
    ),
    (
        &["LM-09"],
        "received_oma",
        Formula("to_watt({tx_oma} - {fibre_loss})"),
    ),
    (
        &["LM-09"],
        "receiver_noise_x2",
        Formula("to_watt({rx_sensitivity_oma}) / 7.034"),
    ),
    (
        &["LM-09"],
        "mpn_noise_x2",
        Formula("{received_oma} * {sigma_mpn}"),
    ),
    (
        &["LM-09"],
        "total_noise_x2",
        Formula("sqrt({receiver_noise_x2}^2 + {mpn_noise_x2}^2)"),
    ),
    (
        &["LM-09"],
        "worst_eye",
        Formula("to_watt({tx_oma} - {fibre_loss} - {isi_penalty})"),
    ),
    (
        &["LM-09"],
        "ber",
        Formula("error_chance({worst_eye} / {total_noise_x2})"),
    ),
    // Textbooks, standards and bids on loss budgets.
    (
        &["LB-01"],
        "total_channel_loss",
        Plan(|case, _| loss_per_km(case, "6 dB")),
    ),
    (
        &["LB-03"],
        "total_channel_loss",
        Plan(|case, _| loss_per_km(case, "7.5 dB")),
    ),
    (
        &["LB-04"],
        "attenuation_10km",
        Formula("as_db({input_power} / {output_power})"),
    ),
    (
        &["LB-04"],
        "attenuation_per_km",
        Formula("{attenuation_10km} / {test_length}"),
    ),
    (
        &["LB-04"],
        "fibre_loss_20km",
        Formula("{attenuation_per_km} * {link_length}"),
    ),
    (
        &["LB-04"],
        "total_loss",
        Formula("{fibre_loss_20km} + ({link_length} / {splice_interval} - 1) * {splice_loss}"),
    ),
    (
        &["LB-06"],
        "loss_limit",
        Formula(
            "{length} * {cable_attenuation} + {end_connections} * {end_connection_loss} + {inner_connections} * {inner_connection_loss} + {splices} * {splice_loss}",
        ),
    ),
    (
        &["LB-08"],
        "total_component_mean_loss",
        Formula(
            "{connections} * {connection_loss} + {splices} * {splice_loss} + ({jumper_lengths[0]} + {jumper_lengths[1]}) * {jumper_attenuation} + {trunk_length} * {trunk_attenuation}",
        ),
    ),
    (
        &["LB-12"],
        "ER4_attenuation",
        Formula("({channel_loss_100GBASE-ER4} - {connector_allowance_ER4}) / {length}"),
    ),
    (
        &["LB-12"],
        "ER_attenuation",
        Formula("({channel_loss_10GBASE-ER} - {connector_allowance_ER}) / {length}"),
    ),
    (
        &["LB-12"],
        "total_with_connectors",
        Formula("{equivalent_fibre_loss_1264nm} + {connector_allowance_ER}"),
    ),
    (
        &["LB-13"],
        "margin_gain",
        Formula(
            "{length} * ({attenuation_before} - {attenuation_after}) + {connector_loss_before} - {connector_loss_after}",
        ),
    ),
    // Hardware guides and forum threads on too much light.
    (
        &["OV-01"],
        "minimum_loss_required",
        Formula("{tx_max} - {rx_max_input}"),
    ),
    (
        &["OV-01"],
        "loss_of_32km",
        Formula("{length} * {fibre_attenuation}"),
    ),
    (&["OV-01"], "overloaded_at_32km", Plan(overloaded)),
    (
        &["OV-03"],
        "received",
        Formula("{tx_power} - {fibre_loss} - {attenuator}"),
    ),
    (
        &["OV-05"],
        "received_fibre1",
        Formula("{tx_range} - {loss_fibre1}"),
    ),
    (
        &["OV-05"],
        "received_fibre2",
        Formula("{tx_range} - {loss_fibre2}"),
    ),
    (
        &["OV-05"],
        "may_overload",
        Formula(
            "pad_needed({tx_range[1]}, {rx_max_input}, {loss_fibre1}) > 0 dB or pad_needed({tx_range[1]}, {rx_max_input}, {loss_fibre2}) > 0 dB",
        ),
    ),
    // Textbooks and hardware guides on the power margin.
    (
        &["PM-01"],
        "total_system_margin",
        Formula("{launch_power} - {receiver_sensitivity}"),
    ),
    (
        &["PM-01"],
        "total_system_loss",
        Formula(
            "{length} * {fibre_attenuation} + {splices} * {splice_loss} + {connector_loss} + {safety_margin}",
        ),
    ),
    (&["PM-01"], "excess_power_margin", Plan(excess_margin)),
    (
        &["PM-04"],
        "final_margin",
        Formula(
            "{laser_output} - {apd_sensitivity} - {coupling_loss} - {length} * {fibre_attenuation} - {splices} * {splice_loss} - {noise_penalty}",
        ),
    ),
    (
        &["PM-07"],
        "power_budget",
        Formula("{tx_min} - {rx_sensitivity}"),
    ),
    (&["PM-07"], "power_margin", Plan(power_margin)),
    (
        &["PM-08"],
        "power_budget",
        Formula("{tx_min} - {rx_sensitivity}"),
    ),
    (
        &["PM-09"],
        "power_budget",
        Formula("{tx_min} - {rx_sensitivity}"),
    ),
    (
        &["PM-09"],
        "after_connectors",
        Formula("{power_budget} - {connections}"),
    ),
    (
        &["PM-09"],
        "for_impairments",
        Formula("{after_connectors} - {fibre_loss}"),
    ),
    (
        &["PM-09"],
        "margin",
        Formula("{for_impairments} - {eye_penalty} - {path_penalty}"),
    ),
    (
        &["PM-10"],
        "power_budget",
        Formula("{tx_min} - {rx_sensitivity_worst_eye}"),
    ),
    (
        &["PM-10"],
        "for_impairments",
        Formula("{power_budget} - {fibre_and_connectors}"),
    ),
    (
        &["PM-10"],
        "margin",
        Formula("{for_impairments} - {eye_penalty} - {path_penalty}"),
    ),
    (
        &["PM-11"],
        "left_for_connectors",
        Formula("{channel_loss_allowed} - {length} * {fibre_attenuation}"),
    ),
    (
        &["PM-14"],
        "mean_link_margin",
        Formula(
            "{tx_mean} - {rx_sensitivity} - {length} * {fibre_attenuation} - {connectors} * {connector_loss} - {splices} * {splice_loss} - {dispersion_penalty} - {clock_recovery_penalty}",
        ),
    ),
    (
        &["PM-14"],
        "sigma_link_margin",
        Formula(
            "sqrt({sigma_tx}^2 + {sigma_rx}^2 + {connectors} * {sigma_connector}^2 + {splices} * {sigma_splice}^2 + {sigma_cr}^2)",
        ),
    ),
    (
        &["PM-14"],
        "system_power_margin",
        Formula("nearest({mean_link_margin}, 0.1 dB) - 2 * {sigma_link_margin} - 1 dB"),
    ),
    // Textbooks on networks: the time on the way.
    (
        &["PR-01"],
        "propagation_time",
        Formula("{distance} / {speed}"),
    ),
    (
        &["PR-03", "PR-04"],
        "rtt",
        Formula("2 * {distance} / {speed}"),
    ),
    (
        &["PR-03", "PR-04"],
        "rtt_x_bandwidth",
        Formula("{rtt} * {rate}"),
    ),
    (
        &["PR-11"],
        "delay",
        Formula("propagation({length}, {index})"),
    ),
    (
        &["PR-12", "PR-13"],
        "delay",
        Formula("{distance} / {speed}"),
    ),
    // Textbooks on the length that a budget allows.
    (
        &["RE-04"],
        "max_length",
        Formula(
            "({launch_power} - {rx_sensitivity} - {safety_margin} - {connectors} * {connector_loss}) / ({fibre_attenuation} + {splice_loss_per_km})",
        ),
    ),
    (
        &["RE-04"],
        "system_rise_time",
        Formula(
            "sqrt({rise_tx}^2 + {rise_rx}^2 + ({material} * {max_length})^2 + ({intermodal} * {max_length})^2)",
        ),
    ),
    (
        &["RE-05"],
        "max_length",
        Formula(
            "({launch_power} - {rx_sensitivity} - {safety_margin} - {connector_loss_total}) / ({fibre_attenuation} + {splice_loss_per_km})",
        ),
    ),
    (
        &["RE-06"],
        "arm_length_16",
        Formula(
            "({launch_power} - {rx_sensitivity} - {star_insertion_loss} - {connectors} * {connector_loss} - {system_margin} - as_db({ports_transmission_star})) / (2 * {fibre_attenuation})",
        ),
    ),
    (
        &["RE-06"],
        "arm_length_32",
        Formula(
            "({launch_power} - {rx_sensitivity} - {star_insertion_loss} - {connectors} * {connector_loss} - {system_margin} - as_db({ports_reflection_star})) / (2 * {fibre_attenuation})",
        ),
    ),
    (
        &["RE-07"],
        "transmission_distance",
        Formula(
            "({tx_rx_gain} - log10({nodes}) / log10(2) * {coupler_loss_per_stage}) / {average_loss}",
        ),
    ),
    (
        &["RE-08"],
        "link_length",
        Formula(
            "({launch_power} - {rx_sensitivity} - {connector_loss} - {safety_margin}) / ({fibre_attenuation} + {splice_loss_per_km})",
        ),
    ),
    // Tables of serialization delay and frame rates.
    (&["SE-01", "SE-02", "SE-03"], "delay", Plan(serialization)),
    (
        &["SE-07", "SE-09"],
        "delay",
        Formula("serialize({packet_sizes}, {link_speed})"),
    ),
    (
        &["SE-13"],
        "transmit",
        Formula("serialize({packet_size}, {link_speed})"),
    ),
    (
        &["SE-13"],
        "queue_wait_last",
        Formula("({packets} - 1) * {transmit}"),
    ),
    (&["SE-14"], "delay", Formula("serialize({message}, {rate})")),
    (
        &["SE-17", "SE-18"],
        "transmission_time",
        Formula("serialize({message}, {rate})"),
    ),
    (
        &[
            "SE-fps-128",
            "SE-fps-256",
            "SE-fps-512",
            "SE-fps-1024",
            "SE-fps-1518",
            "SE-fps-1522",
            "SE-fps-8192",
        ],
        "max_frames_per_s",
        Formula("next_down({line_rates} / ({frame_size} + {overhead_preamble_and_gap}), 1 Hz)"),
    ),
    // Textbooks on switches that take in whole frames.
    (&["SF-01", "SF-02"], "total", Plan(through_switches)),
    (&["SF-09"], "total", Plan(over_hops)),
    // Textbooks and memos on levels.
    (&["UN-01"], "input", Formula("to_dbm({launch_power})")),
    (
        &["UN-01"],
        "output",
        Formula("{input} - {length} * {fibre_attenuation}"),
    ),
    (&["UN-01"], "output_power", Formula("to_watt({output})")),
    (
        &["UN-02"],
        "power_lost",
        Formula("1 - 1 / from_db({lengths} * {fibre_attenuation})"),
    ),
    (&["UN-05"], "mW", Formula("to_watt({dBm})")),
    (
        &["UN-07"],
        "average_power",
        Formula("average_level({oma_sensitivity}, {extinction_ratio})"),
    ),
    (&["UN-09"], "power_mw", Formula("to_watt({power})")),
];

/// The switch of an oversubscription example, one column of it.
fn leaf(case: &Example, column: &str) -> Cell {
    let ports = [
        ("access_ports", &*case.input("access_ports", 0)),
        ("access_speed", &*case.input("access_speed", 0)),
    ];
    let uplink = [
        ("from", "leaf"),
        ("role", "uplink"),
        ("members", &*case.input("uplinks", 0)),
        ("speed", &*case.input("uplink_speed", 0)),
    ];
    let story = Story::new()
        .switch("leaf", &ports)
        .link("up", &uplink)
        .told();
    story.cell("switches", "leaf", column)
}

/// Uplinks to several spines at once: what one leaf has in all.
fn spines(case: &Example, members: usize, speed: usize) -> Cell {
    let uplink = [
        ("from", "leaf"),
        ("role", "uplink"),
        ("members", &*case.input("uplinks_per_spine", members)),
        ("speed", &*case.input("uplink_speeds", speed)),
    ];
    let n_spines = case.count("spines");
    let story = (0..n_spines).fold(Story::new().switch("leaf", &[]), |story, spine| {
        story.link(&format!("up {spine}"), &uplink)
    });
    story.told().cell("switches", "leaf", "uplink_capacity")
}

/// The share of the uplink capacity that goes with the worst cable.
fn capacity_lost(case: &Example, _: usize) -> Cell {
    let uplink = [("from", "leaf"), ("role", "uplink"), ("speed", "40 Gb/s")];
    let n_spines = case.count("spines");
    let story = (0..n_spines)
        .fold(
            Story::new().switch(
                "leaf",
                &[("access_ports", "48"), ("access_speed", "10 Gb/s")],
            ),
            |story, spine| story.link(&format!("up {spine}"), &uplink),
        )
        .told();
    let ratio = |column| story.number("switches", "leaf", column, "");
    Cell::Number(1.0 - ratio("ratio") / ratio("worst_ratio"))
}

/// How many cables of a plan meet a condition: one for each server and rail, one for each uplink
/// of a leaf, and those of management.
fn cables(case: &Example, condition: &str) -> Cell {
    let kinds = [
        (
            "twinax passive",
            case.count("servers") * case.count("rails_per_server"),
        ),
        (
            "active optical",
            case.count("leaves") * case.count("uplinks_per_leaf"),
        ),
        ("Cat6", case.count("management_links")),
    ];
    let mut story = Story::new();
    for (medium, n_cables) in kinds {
        for at in 0..n_cables {
            story = story.link(&format!("{medium} {at}"), &[("medium", medium)]);
        }
    }
    story.told().calc(&format!("tally({condition})"))
}

/// A link over a fibre and an interface of its own.
fn own_link(attenuation: &str, channel: Cells<'_>, link: Cells<'_>) -> Story {
    let known = [("interface", "lamp"), ("medium", "run")];
    Story::new()
        .row(
            "media",
            "run",
            &[("kind", "single-mode"), ("attenuation_1310", attenuation)],
        )
        .row(
            "interfaces",
            "lamp",
            &[("speed", "1 Gb/s"), ("carriers", "single-mode")],
        )
        .row(
            "channels",
            "lamp on run",
            &[&known[..], &[("wavelength", "1310 nm")], channel].concat(),
        )
        .link("L1", &[&known[..], link].concat())
}

/// Splices that are given for each kilometre, and connectors of different loss.
fn loss_per_km(case: &Example, connectors: &str) -> Cell {
    let length = case.input("length", 0);
    let splices = length.replace(" km", "");
    let link = [
        ("length", &*length),
        ("splices", &*splices),
        ("connections", "0"),
        ("extra_loss", connectors),
    ];
    let per_km = case.input("splice_loss_per_km", 0).replace("/km", "");
    let story = own_link(&case.input("fibre_attenuation", 0), &[], &link);
    story
        .assume("splice_loss", &per_km)
        .told()
        .cell("links", "L1", "loss")
}

/// Whether too much light arrives over the whole length.
fn overloaded(case: &Example, _: usize) -> Cell {
    let powers = [
        ("tx_max", &*case.input("tx_max", 0)),
        ("rx_max", &*case.input("rx_max_input", 0)),
    ];
    let link = [("length", &*case.input("length", 0))];
    let story = own_link(&case.input("fibre_attenuation", 0), &powers, &link).told();
    Cell::Flag(story.number("links", "L1", "overload", "dB") > 1e-9)
}

/// Launch less sensitivity less everything on the way, a safety margin included.
fn excess_margin(case: &Example, _: usize) -> Cell {
    let powers = [
        ("tx_min", &*case.input("launch_power", 0)),
        ("rx_min", &*case.input("receiver_sensitivity", 0)),
    ];
    let link = [
        ("length", &*case.input("length", 0)),
        ("splices", &*case.input("splices", 0)),
        ("connections", "1"),
        ("extra_loss", &*case.input("safety_margin", 0)),
    ];
    own_link(&case.input("fibre_attenuation", 0), &powers, &link)
        .assume("splice_loss", &case.input("splice_loss", 0))
        .assume("connection_loss", &case.input("connector_loss", 0))
        .told()
        .cell("links", "L1", "budget_margin")
}

/// Launch less sensitivity less fibre and connectors.
fn power_margin(case: &Example, _: usize) -> Cell {
    let powers = [
        ("tx_min", &*case.input("tx_min", 0)),
        ("rx_min", &*case.input("rx_sensitivity", 0)),
    ];
    let link = [
        ("length", &*case.input("length", 0)),
        ("connections", &*case.input("connectors", 0)),
    ];
    own_link(&case.input("fibre_attenuation", 0), &powers, &link)
        .assume("connection_loss", &case.input("connector_loss", 0))
        .told()
        .cell("links", "L1", "budget_margin")
}

/// One frame at one line rate.
fn serialization(case: &Example, at: usize) -> Cell {
    Story::new()
        .assume("frame", &case.input("packet_size", 0))
        .link("L1", &[("speed", &*case.input("link_rates", at))])
        .told()
        .cell("links", "L1", "serialization")
}

/// A chain of links over 2 km of 5 ns/m, which is 10 µs each, and switches that add nothing.
fn through_switches(case: &Example, _: usize) -> Cell {
    assert_eq!(case.input("propagation_per_link", 0), "10 µs");
    chain(case, case.count("links"), "2 km")
}

/// A chain of links of no length.
fn over_hops(case: &Example, at: usize) -> Cell {
    let n_hops = case.input("hops", at).parse().expect("a count");
    chain(case, n_hops, "0 m")
}

fn chain(case: &Example, n_links: usize, length: &str) -> Cell {
    let frame = case.input("packet", 0);
    let rate = case.input("rate", 0);
    let known = [("interface", "lamp"), ("medium", "run")];
    let link = [&known[..], &[("length", length), ("speed", &*rate)]].concat();
    let story = Story::new()
        .assume("frame", &frame)
        .assume("forwarding_delay", "0 µs")
        .row(
            "media",
            "run",
            &[("kind", "single-mode"), ("delay", "5 ns/m")],
        )
        .row(
            "interfaces",
            "lamp",
            &[("conversion", "0 ns"), ("correction", "0 ns")],
        )
        .row("channels", "lamp on run", &known);
    let story = (0..n_links).fold(story, |story, at| story.link(&format!("hop {at}"), &link));
    story.told().calc("total(links.hop_latency)")
}

/// One worked example of the file.
struct Example {
    id: String,
    source: String,
    inputs: Value,
    expected: Value,
}

impl Example {
    fn of(case: &Value) -> Self {
        let said = |name: &str| case["source"][name].as_str().expect("a source").to_owned();
        Self {
            id: case["id"].as_str().expect("an id").to_owned(),
            source: [said("author"), said("title"), said("section")].join(", "),
            inputs: case["inputs"].clone(),
            expected: case["expected"].clone(),
        }
    }

    /// An input as it is written, or one of a list of inputs.
    fn input(&self, name: &str, at: usize) -> String {
        let value = &self.inputs[name];
        let value = value.as_array().map_or(value, |list| &list[at]);
        let text = value.as_str();
        text.unwrap_or_else(|| panic!("{}: no input `{name}`", self.id))
            .to_owned()
    }

    fn count(&self, name: &str) -> usize {
        self.input(name, 0).parse().expect("a count")
    }

    /// A formula with inputs and other results in place of names in braces.
    fn filled(&self, formula: &str, at: usize) -> String {
        let mut out = String::new();
        let mut rest = formula;
        while let Some((before, after)) = rest.split_once('{') {
            let (name, behind) = after.split_once('}').expect("a closing brace");
            out += &format!("{before}({})", self.named(name, at));
            rest = behind;
        }
        out + rest
    }

    fn named(&self, name: &str, at: usize) -> String {
        if let Some((name, place)) = name.split_once('[') {
            let place = place.trim_end_matches(']').parse().expect("a place");
            return self.input(name, place);
        }
        if self.inputs.get(name).is_some() {
            return self.input(name, at);
        }
        match how(&self.id, name) {
            Some(Formula(formula)) => self.filled(formula, at),
            Some(Plan(_)) | None => panic!("{}: no input `{name}`", self.id),
        }
    }

    /// Compares one result; gives what is wrong with it.
    fn fault(&self, story: &Story, name: &str) -> Vec<String> {
        let expected = &self.expected[name];
        let unit = expected["unit"].as_str().expect("a unit");
        let within = expected["within"].as_f64().expect("a tolerance");
        let Some(how) = how(&self.id, name) else {
            return vec![format!("{} {name}: not computed", self.id)];
        };
        let results = match &expected["is"] {
            Value::Array(list) => list.clone(),
            one => vec![one.clone()],
        };
        let wrong = |(at, is): (usize, &Value)| {
            let got = match how {
                Formula(formula) => story.calc(&self.filled(formula, at)),
                Plan(plan) => plan(self, at),
            };
            let right = match (&got, is) {
                (Cell::Flag(flag), Value::Bool(is)) => flag == is,
                (Cell::Number(base), Value::Number(is)) => {
                    let is = is.as_f64().expect("a number");
                    (unit_of(unit).from_base(*base) - is).abs() <= within + 1e-12 * is.abs()
                }
                _ => false,
            };
            let told = || {
                format!(
                    "{} {name}: {is} {unit}, got {got:?} ({})",
                    self.id, self.source
                )
            };
            (!right).then(told)
        };
        results.iter().enumerate().filter_map(wrong).collect()
    }
}

fn how(id: &str, name: &str) -> Option<&'static How> {
    let found = HOW
        .iter()
        .find(|(ids, result, _)| ids.contains(&id) && *result == name);
    found.map(|(_, _, how)| how)
}

fn examples() -> &'static [Example] {
    static EXAMPLES: OnceLock<Vec<Example>> = OnceLock::new();
    EXAMPLES.get_or_init(|| {
        let text = include_str!("../data/worked_examples.json");
        let cases: Vec<Value> = serde_json::from_str(text).expect("the file is JSON");
        cases.iter().map(Example::of).collect()
    })
}

#[test]
fn every_worked_example_comes_out_as_printed() {
    let story = Story::new().told();
    let mut wrong = Vec::new();
    for case in examples() {
        let results = case.expected.as_object().unwrap().keys();
        for name in results {
            wrong.extend(case.fault(&story, name));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn all_examples_but_one_run_and_none_stands_twice() {
    let mut ids: Vec<&str> = examples().iter().map(|case| &*case.id).collect();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!((ids.len(), examples().len()), (N_EXAMPLES, N_EXAMPLES));
    for (group, result, _) in HOW {
        for id in *group {
            let case = examples().iter().find(|case| case.id == *id).unwrap();
            assert!(case.expected.get(result).is_some(), "{id} has no {result}");
        }
    }
}

#[test]
fn a_wrong_print_would_be_seen() {
    let story = Story::new().told();
    let case = examples().iter().find(|case| case.id == "PM-08").unwrap();
    let mut slipped = Example {
        id: case.id.clone(),
        source: case.source.clone(),
        inputs: case.inputs.clone(),
        expected: case.expected.clone(),
    };
    assert!(slipped.fault(&story, "power_budget").is_empty());
    slipped.expected["power_budget"]["is"] = Value::from(-11.5);
    assert_eq!(slipped.fault(&story, "power_budget").len(), 1);
}
