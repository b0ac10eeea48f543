"""What a run's rig, site and crew make of its files: which parts apply, and facts by their position."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from assistant.errors import Fault, NotMeantError
from assistant.procedure.load import Files
from assistant.procedure.model import UNKNOWN
from assistant.procedure.plan import Changes, Condition

CREWS: Final = ("alone", "mate")
CREW: Final = "crew"
"""The one feature that neither rig nor site gives: who works, from the command line."""


class Setting:
    """One run's files held against rig, site and crew, and its facts by position; collects faults."""

    def __init__(self, files: Files, crew: str) -> None:
        self.files = files
        self.crew = crew
        self.faults: list[Fault] = []
        self.fact_names = tuple(files.yard.facts)
        self.fact_index = {name: index for index, name in enumerate(self.fact_names)}
        self.main = str(files.paths.get(f"{files.procedure.id}/procedure.toml", files.procedure.id))
        self.yard = str(files.paths.get("yard.toml", "yard.toml"))
        self.setting: dict[str, str] = {**files.rig.features, **files.site.choices, CREW: crew}

    def fault(self, what: str, step: str = "", field: str = "", file: str = "") -> None:
        """Note a fault; the procedure file is meant where no other is named."""
        self.faults.append(Fault(file or self.main, what, step, field))

    # -- rig, site and crew ---------------------------------------------------------------------
    def check_setting(self) -> None:
        """Every feature and choice of the yard has a known value, and no other is given."""
        files = self.files
        for kind, name, declared, given in (
            ("rig", f"rigs/{files.rig_name}.toml", files.yard.features, files.rig.features),
            ("site", f"sites/{files.site_name}.toml", files.yard.choices, files.site.choices),
        ):
            path = str(files.paths.get(name, name))
            for key, values in declared.items():
                if key not in given:
                    self.fault(f"gives no value; the {kind} needs one of {', '.join(values)}", "", key, path)
                elif given[key] not in values:
                    self.fault(f"has {given[key]!r}, which is none of {', '.join(values)}", "", key, path)
            for key in given:
                if key not in declared:
                    self.fault(f"is no {kind} feature of yard.toml; remove it", "", key, path)

    def applies(self, only: Mapping[str, list[str]], step: str) -> bool:
        """Whether ``only`` holds for this rig, site and crew; unknown names are faults."""
        ok = True
        declared = {**self.files.yard.features, **self.files.yard.choices, CREW: list(CREWS)}
        for key, values in only.items():
            if key not in declared:
                self.fault(f"names {key!r}, which no rig, site or crew has", step, "only")
                continue
            for value in values:
                if value not in declared[key]:
                    self.fault(f"{key} can never be {value!r}", step, "only")
            ok = ok and self.setting.get(key) in values
        return ok

    def check_only(self) -> None:
        """Refuse a rig, site or crew the whole procedure is not for, in one plain sentence."""
        only = self.files.procedure.only
        if self.applies(only, "") or self.faults:
            return
        for key, values in only.items():
            has = self.setting[key]
            if has not in values:
                where = f"rig {self.files.rig_name}, site {self.files.site_name}, crew {self.crew}"
                raise NotMeantError(
                    f"{self.files.procedure.id} is only for {key} {' or '.join(values)}; here it is {has} "
                    f"({where}). Choose another rig, site or crew."
                )

    # -- facts ----------------------------------------------------------------------------------
    def changes(self, sets: Mapping[str, str], step: str, field: str, file: str = "") -> Changes:
        """Resolve a table of facts to set."""
        out = []
        for name, value in sets.items():
            if name not in self.fact_index:
                self.fault(f"sets {name!r}, which is no fact of yard.toml", step, field, file)
            elif value != UNKNOWN and value not in self.files.yard.facts[name].values:
                self.fault(f"sets {name} to {value!r}, which is none of its values", step, field, file)
            else:
                out.append((self.fact_index[name], value))
        return tuple(sorted(out))

    def condition(self, table: Mapping[str, list[str]], step: str, field: str, file: str = "") -> Condition:
        """Resolve a table of facts and the values they may have."""
        out = []
        for name, values in table.items():
            if name not in self.fact_index:
                self.fault(f"names {name!r}, which is no fact of yard.toml", step, field, file)
                continue
            known = self.files.yard.facts[name].values
            for value in values:
                if value not in known:
                    self.fault(f"{name} can never be {value!r}", step, field, file)
            out.append((self.fact_index[name], frozenset(values)))
        return tuple(sorted(out, key=lambda pair: pair[0]))
