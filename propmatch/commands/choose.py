"""The power train for a brief: by the ids that match prints, typed part by part, or the best that match finds."""

from typing import TYPE_CHECKING, Any, Unpack

import attrs

from propmatch.commands.progress import progress_line
from propmatch.commands.trains import TRAIN_OPTIONS, LazyCatalogue, choose_train, pack_state
from propmatch.faults import Fault, InputFaults, did_you_mean

if TYPE_CHECKING:
    from propmatch.checks.setting import ResolvedBrief, Setting
    from propmatch.records.parts import PowerTrain, TrainNumbers

__all__ = [
    "TrainForBrief",
    "allowed_by_brief",
    "choose_for_brief",
    "names_a_train",
    "train_of_ids",
    "wanted_settings",
]


@attrs.frozen(kw_only=True)
class TrainForBrief:
    """A power train with how it was chosen, what was assumed to make it, and what is hard to believe about it."""

    train: "PowerTrain"
    how: str
    assumptions: tuple[Any, ...] = ()
    doubts: tuple[Fault, ...] = ()


def wanted_settings(resolved: "ResolvedBrief", variant: str | None) -> tuple["Setting", ...]:
    """The settings of every variant, the aircraft as designed first, or of the one named."""
    if variant is None:
        return resolved.settings
    found = tuple(setting for setting in resolved.settings if setting.variant.name == variant)
    if not found:
        names = [setting.variant.name for setting in resolved.settings]
        hint = did_you_mean(variant, names)
        raise InputFaults([Fault("--variant", value=variant, rule=f"the variants are {', '.join(names)}", hint=hint)])
    return found


def train_of_ids(
    stock: LazyCatalogue, text: str, option: str = "--train", **numbers: "Unpack[TrainNumbers]"
) -> "PowerTrain":
    """The power train that ids joined by `` + `` mean, in any order.

    Raises
    ------
    InputFaults
        An id that no kind has, a kind named twice or not at all.
    """
    from propmatch.records.parts import PARTS, PowerTrain
    from propmatch.records.trainid import parts_in_any_order

    known = {kind: stock.catalogue.parts(f"{kind}s") for kind in PARTS}
    return PowerTrain(**parts_in_any_order(text, known, option), **numbers)


def allowed_by_brief(train: "PowerTrain", setting: "Setting") -> "PowerTrain":
    """The train itself.

    Raises
    ------
    InputFaults
        Its cells do not allow the cutoff that the brief states, its blades do not fold as the brief says, it has more
        or fewer motors than the brief has places for.
    """
    from propmatch.records.motoroff import folding_faults
    from propmatch.records.packflight import cutoff_faults

    faults = cutoff_faults(setting.cutoff_cell_v, [train.pack])
    faults += folding_faults(setting.variant.motor_off, train.propeller)
    count = setting.variant.motor_count
    if setting.brief.thrust_line is not None and train.count != count:
        faults.append(Fault("--motors", value=train.count, rule=f"must be {count}: the brief places that many motors"))
    if faults:
        raise InputFaults(faults)
    return train


def names_a_train(options: dict[str, Any], train: str = "train") -> bool:
    """Whether the options name a power train, or part of one."""
    return any(options.get(name) is not None for name in (train, *TRAIN_OPTIONS))


def choose_for_brief(
    stock: LazyCatalogue, resolved: "ResolvedBrief", setting: "Setting", options: dict[str, Any], train: str = "train"
) -> TrainForBrief:
    """The train that the options name, else the best for the brief: the same parts whatever variant they are flown in.

    Raises
    ------
    InputFaults
        What is wrong with the options.
    Unmet
        Nothing in the catalogue meets the brief.
    """
    typed = [f"--{name.replace('_', '-')}" for name in TRAIN_OPTIONS if options.get(name) is not None]
    if typed and options.get(train) is None:
        made = choose_train(stock, options, setting.train_numbers)
        named = allowed_by_brief(made.train, setting)
        return TrainForBrief(train=named, how="", assumptions=made.assumptions, doubts=made.doubts)
    faults = [Fault(f"--{train}", rule=f"names the whole train, so leave out {', '.join(typed)}")] if typed else []
    numbers: dict[str, Any] = {**setting.train_numbers, **pack_state(options, faults)}
    if faults:
        raise InputFaults(faults)
    if options.get(train) is not None:
        named = train_of_ids(stock, options[train], f"--{train}", **numbers)
        return TrainForBrief(train=allowed_by_brief(named, setting), how="")
    from propmatch.records.fields import replace
    from propmatch.search.matching import UNNAMED, UNNAMED_ON_PAPER, best_train

    with progress_line("looking for the best power train") as progress:
        best = best_train(resolved, stock.catalogue, progress=progress)
    how = UNNAMED_ON_PAPER if options.get("on_paper") else UNNAMED
    return TrainForBrief(train=replace(best, **numbers), how=how)
