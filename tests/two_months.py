"""Two months of a small cellar as Ana typed them, mistakes and all: what test_whole_two_months.py reads back."""

from __future__ import annotations

__all__ = ["CELLAR", "END", "live"]

from typing import Final

from a_shell import AtTheShell
from cellar_text import carboy, cylinder, keg, mail, room, site

CELLAR: Final = "\n".join(
    (
        site(waking="07:00-22:00"),
        room(),
        cylinder(),
        keg("K1", tare="4.2 kg"),
        keg("K2"),
        keg("K3"),
        carboy("C1"),
        mail(25),
    )
)
END: Final = "2026-11-30 20:00"


def live(shell: AtTheShell) -> dict[str, str]:
    """Type it all. What each mistake was answered, by what was wrong."""
    told: dict[str, str] = {}
    _two_wines(shell, told)
    _first_tests(shell, told)
    _doses(shell, told)
    _weeks_in_october(shell, told)
    _racking(shell, told)
    _november(shell, told)
    _bottling(shell, told)
    return told


def _two_wines(shell: AtTheShell, told: dict[str, str]) -> None:
    shell.it_is("2026-10-01 17:00")
    told["vintage"] = shell.call(
        "leeside enter lot --lot reb", "Rebula 2026", "white", "12.5", "2026", "12.5 %", "1.5", "prevented", ""
    )
    shell.call("leeside enter lot --lot ref --name 'Refošk 2026' --style red --alcohol 12 --malolactic complete --yes")
    told["comma"] = shell.call("leeside enter first-filling --vessel K1 --lot reb --volume '18,5 L' --yes")
    shell.call("leeside enter first-filling --vessel K1 --lot reb --volume 18.5L --yes")
    told["vessel in small letters"] = shell.call("leeside enter first-filling --vessel k2 --lot reb --volume 17L --yes")
    shell.call("leeside enter first-filling --vessel K2 --lot reb --volume 17L --yes")
    told["lot misspelt"] = shell.call("leeside enter first-filling --vessel C1 --lot reef --volume 22.5L --yes")
    shell.call("leeside enter first-filling --vessel C1 --lot ref --volume 22.5L --yes")
    told["too full"] = shell.call("leeside enter first-filling --vessel K3 --lot ref --volume 25L --yes")
    shell.it_is("2026-10-01 18:30")
    for keg_id in ("K1", "K2"):
        shell.call(f"leeside enter gas --vessel {keg_id} --act charged --pressure '55 kPa' --cylinder N2 --yes")
    told["400 kPa"] = shell.call("leeside enter gas --vessel K1 --act charged --pressure '400 kPa' --cylinder N2", "")
    shell.call("leeside enter vessel-status --vessel K3 --status cleaned --yes")
    shell.call("leeside enter vessel-status --vessel C1 --airlock yes --yes")


def _first_tests(shell: AtTheShell, told: dict[str, str]) -> None:
    shell.it_is("2026-10-03 10:00")
    told["strength without a unit"] = shell.call(
        "leeside enter titrant --name 'iodine 3' --substance iodine --strength 0.02 --yes"
    )
    shell.call(
        "leeside enter titrant --name 'iodine 3' --substance iodine --strength '0.02 N' --factor 0.98 "
        "--standardised 2026-10-03 --yes"
    )
    told["pH 34"] = shell.call("leeside enter measurement --lot reb --quantity pH --value 34", "", "")
    shell.call("leeside enter measurement --lot reb --quantity pH --value 3.34 --instrument 'bench meter' --yes")
    shell.call("leeside enter measurement --lot ref --quantity pH --value 3.52 --instrument 'bench meter' --yes")
    shell.call("leeside enter measurement --lot reb --quantity TA --value 6.1 --yes")
    shell.call("leeside enter measurement --lot ref --quantity VA --value '400 ppm' --yes")
    for vessel, titre in (("K1", "0.95"), ("K2", "1.05"), ("C1", "0.70")):
        shell.call(f"leeside enter sample --vessel {vessel} --volume '60 mL' --purpose titration --yes")
        shell.call(
            f"leeside enter titration --vessel {vessel} --quantity free --method Ripper --titre {titre} --sample 25 "
            "--titrant 'iodine 3' --yes"
        )
    for vessel, total in (("K1", 78), ("K2", 82), ("C1", 61)):
        shell.call(
            f"leeside enter titration --vessel {vessel} --quantity total --method lab --result '{total} ppm' "
            "--uncertainty 3 --at 'yesterday 15:00' --yes"
        )


def _doses(shell: AtTheShell, told: dict[str, str]) -> None:
    shell.it_is("2026-10-04 11:00")
    told["dose"] = shell.call("leeside dose K1")
    told["45 g"] = shell.call(
        "leeside enter addition --vessel K1 --form metabisulfite --salt potassium --mass '45 g'", ""
    )
    shell.call("leeside enter addition --vessel K1 --form powder --salt k --mass '0.45 g' --yes")
    shell.call(
        "leeside enter addition --vessel C1 --form 'stock solution' --salt potassium --volume '8 mL' "
        "--stock '10 g/100 mL' --yes"
    )
    shell.it_is("2026-10-06 19:00")
    for vessel, titre in (("K1", "1.65"), ("C1", "1.20")):
        shell.call(
            f"leeside enter titration --vessel {vessel} --quantity free --method Ripper --titre {titre} --sample 25 "
            "--titrant 'iodine 3' --yes"
        )
    told["wrong vessel"] = shell.call("leeside enter sample --vessel K3 --volume '60 mL' --yes")
    # Written for the wrong keg, and seen at once.
    shell.call("leeside enter sample --vessel K2 --volume '60 mL' --purpose titration --yes")
    told["no such entry"] = shell.call("leeside strike 82 --reason 'it was K1'")
    told["strike"] = shell.call("leeside strike 28", "it was K1")
    shell.call("leeside enter sample --vessel K1 --volume '60 mL' --purpose titration --yes")


def _weeks_in_october(shell: AtTheShell, told: dict[str, str]) -> None:
    for day, clarity in (("09", "hazy"), ("16", "clear"), ("23", "clear")):
        shell.it_is(f"2026-10-{day} 18:00")
        shell.call(f"leeside enter inspection --vessel C1 --clarity {clarity} --film no --lees '6 mm' --yes")
        shell.call("leeside enter vessel-status --vessel C1 --airlock yes --yes")
    shell.it_is("2026-10-17 12:00")
    told["over the brim"] = shell.call("leeside enter topping --vessel C1 --bottles '1 x 0.75 L' --yes")
    shell.call("leeside enter topping --vessel C1 --bottles '1 x 0.75 L' --volume 0.25L --alcohol 12 --yes")
    told["to the brim"] = shell.call("leeside enter topping --vessel C1 --lot ref", "", "yesterday 18:30", "")
    told["twice the filling"] = shell.call("leeside amend 5 --volume '22.3 L' --reason 'read the dipstick again'", "")


def _racking(shell: AtTheShell, told: dict[str, str]) -> None:
    shell.it_is("2026-10-24 09:00")
    told["how often"] = shell.call("leeside enter gas --vessel K3 --act purged --cylinder N2 --yes")
    shell.call("leeside enter gas --vessel K3 --act purged --times 3 --pressure '50 kPa' --cylinder N2 --yes")
    told["target that is not there"] = shell.call("leeside enter racking --from C1=19L --to G9 --yes")
    shell.call("leeside enter racking --from C1=19L --to K3 --begin --yes")
    shell.it_is("2026-10-24 10:10")
    told["a litre lost"] = shell.call("leeside enter racking --from C1=19L --to K3=18L --air closed --yes")
    told["amended"] = shell.call("leeside amend 41 --lees '1 L' --reason 'the lees were forgotten'", "")
    shell.call("leeside enter gas --vessel K3 --act charged --pressure '50 kPa' --cylinder N2 --yes")
    told["what is left is gone"] = shell.call("leeside enter vessel-status --vessel C1 --status emptied", "y")


def _november(shell: AtTheShell, told: dict[str, str]) -> None:
    shell.it_is("2026-11-02 19:30")
    for vessel, titre in (("K1", "1.35"), ("K2", "0.80"), ("K3", "0.85")):
        shell.call(
            f"leeside enter titration --vessel {vessel} --quantity free --method Ripper --titre {titre} --sample 25 "
            "--titrant 'iodine 3' --yes"
        )
    told["bottle amended"] = shell.call("leeside amend 10 --factor 0.96 --reason 'standardised again'", "", "y")
    shell.call("leeside enter addition --vessel K2 --form metabisulfite --salt potassium --mass '400 mg' --yes")
    shell.it_is("2026-11-05 19:30")
    shell.call(
        "leeside enter titration --vessel K2 --quantity free --method Ripper --titre 1.45 --sample 25 "
        "--titrant 'iodine 3' --yes"
    )
    shell.it_is("2026-11-14 16:00")
    told["two at once"] = shell.call("leeside enter racking --from 'K1=1L and K2=1L' --to C1 --air open --yes")
    shell.call("leeside enter vessel-status --vessel C1 --airlock yes --yes")
    shell.it_is("2026-11-20 18:00")
    shell.call("leeside enter inspection --vessel C1 --clarity bright --film no --yes")
    shell.call("leeside enter measurement --vessel K1 --quantity weight --value '21.3 kg' --yes")
    told["a date of 1999"] = shell.call("leeside enter sample --vessel K1 --volume '60 mL' --at 1999-11-20", "", "")


def _bottling(shell: AtTheShell, told: dict[str, str]) -> None:
    shell.it_is("2026-11-28 10:00")
    told["more than there is"] = shell.call(
        "leeside enter bottling --vessel K1 --bottles '30 x 0.75 L' --closure cork --yes"
    )
    shell.call("leeside enter bottling --vessel K1 --bottles '22 x 0.75 L' --closure cork --waste '0.2 L' --yes")
    shell.call("leeside enter vessel-status --vessel K1 --status cleaned --yes")
    shell.it_is(END)
    told["history from today"] = shell.call("leeside history --lot reb --quantity free_so2 --from today")
    told["everything"] = shell.call("leeside history --lot reb --quantity free_so2")
