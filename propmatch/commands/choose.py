"""The power train for a brief: by the ids that match prints, typed part by part, or the best that match finds."""

from typing import Any

import attrs

from propmatch.commands.progress import progress_line
from propmatch.commands.trains import TRAIN_OPTIONS, LazyCatalogue, choose_train
from propmatch.faults import Fault, InputFaults, did_you_mean

__all__ = ["TrainForBrief", "choose_for_brief", "names_a_train", "train_of_ids", "wanted_settings"]


@attrs.frozen(kw_only=True)
class TrainForBrief:
    """A power train with how it was chosen, what was assumed to make it, and what is hard to believe about it."""

    train: Any
    how: str
    assumptions: tuple[Any, ...] = ()
    doubts: tuple[Fault, ...] = ()


def wanted_settings(brief: Any, variant: str | None) -> list[Any]:
    """The settings of every variant, the aircraft as designed first, or of the one named."""
    from propmatch.checks.measures import settings

    every = list(settings(brief))
    if variant is None:
        return every
    found = [setting for setting in every if setting.variant.name == variant]
    if not found:
        names = [setting.variant.name for setting in every]
        hint = did_you_mean(variant, names)
        raise InputFaults([Fault("--variant", value=variant, rule=f"the variants are {', '.join(names)}", hint=hint)])
    return found


def train_of_ids(stock: LazyCatalogue, text: str, option: str = "--train", **numbers: Any) -> Any:
    """The power train that ids joined by `` + `` mean, in any order.

    Raises
    ------
    InputFaults
        An id that no kind has, a kind named twice or not at all.
    """
    from propmatch.records.parts import PowerTrain

    faults: list[Fault] = []
    found: dict[str, Any] = {}
    kinds = ("motor", "controller", "pack", "propeller")
    for name in (piece.strip() for piece in text.split(" + ")):
        having = [kind for kind in kinds if name in stock.catalogue.parts(f"{kind}s")]
        if not having:
            ids = [each for kind in kinds for each in stock.catalogue.parts(f"{kind}s")]
            faults.append(Fault(option, value=name, rule="no part with this id", hint=did_you_mean(name, ids)))
            continue
        free = [kind for kind in having if kind not in found]
        if not free:
            faults.append(Fault(option, value=name, rule=f"is a second {having[0]}"))
            continue
        found[free[0]] = stock.catalogue.parts(f"{free[0]}s")[name]
    missing = [kind for kind in kinds if kind not in found]
    if missing and not faults:
        rule = f"names no {' and no '.join(missing)}"
        faults.append(Fault(option, value=text, rule=rule, hint='join four ids by " + " in one quoted word'))
    if faults:
        raise InputFaults(faults)
    return PowerTrain(**found, **numbers)


def names_a_train(options: dict[str, Any], train: str = "train") -> bool:
    """Whether the options name a power train, or part of one."""
    return any(options.get(name) is not None for name in (train, *TRAIN_OPTIONS))


def choose_for_brief(
    stock: LazyCatalogue, brief: Any, setting: Any, options: dict[str, Any], train: str = "train"
) -> TrainForBrief:
    """The train that the options name, else the best for the brief.

    Raises
    ------
    InputFaults
        What is wrong with the options; nothing in the catalogue meets the brief.
    """
    numbers = {
        "count": setting.variant.motor_count,
        "accessory_current_a": setting.variant.accessory_current_a,
        "pack_temperature_c": setting.brief.site.pack_temperature_c,
    }
    typed = [name for name in TRAIN_OPTIONS if options.get(name) is not None]
    if options.get(train) is not None:
        if typed:
            raise InputFaults([Fault(f"--{train}", rule=f"names the whole train, so leave out --{typed[0]}")])
        return TrainForBrief(train=train_of_ids(stock, options[train], f"--{train}", **numbers), how="")
    if typed:
        made = choose_train(stock, options, numbers)
        return TrainForBrief(train=made.train, how="", assumptions=made.assumptions, doubts=made.doubts)
    from propmatch.search.matching import match

    with progress_line("looking for the best power train") as progress:
        shortlist = match(brief, stock.catalogue, top=1, variant=setting.variant.name, progress=progress)
    if shortlist.best is None:
        hint = "'propmatch match' says which limits leave nothing; name a train to see its flight all the same"
        raise InputFaults([Fault(brief.aircraft.name, rule="no power train of the catalogue meets it", hint=hint)])
    return TrainForBrief(
        train=shortlist.best.train,
        how=f"No power train was named, so this is the best of {shortlist.combinations} combinations.",
    )
