"""`rig settings`: the settings in force."""

from rig.commands.options import Json, RigFile, print_json, settings_of


def settings(rig: RigFile = None, json: Json = False) -> None:
    """Print the settings in force as a commented rig.toml."""
    found = settings_of(rig)
    if json:
        import msgspec

        print_json(msgspec.to_builtins(found))
        return
    from rig.settings.show import commented_toml

    print(commented_toml(found), end="")
