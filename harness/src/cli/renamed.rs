//! Renamed flags: an old flag is refused with the new one.

/// Command, old flag, new flag.
const FLAGS: [(&str, &str, &str); 2] = [
    ("compare", "--spread", "--dispersions"),
    ("estimate", "--add-gyro-offset-deg-s", "--add-gyro-bias-deg-s"),
];

/// The message for the first old flag in the arguments of a command line, without the program's name.
pub(super) fn old_flag(arguments: impl Iterator<Item = String>) -> Option<String> {
    let mut arguments = arguments.take_while(|argument| argument != "--");
    let command = arguments.next()?;
    arguments.find_map(|argument| {
        let flag = argument.split_once('=').map_or(argument.as_str(), |(flag, _)| flag);
        let (_, old, new) = FLAGS.iter().find(|(of, old, _)| *of == command && *old == flag)?;
        Some(format!("`{old}` is now `{new}`"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(line: &str) -> Option<String> {
        old_flag(line.split(' ').map(str::to_owned))
    }

    #[test]
    fn old_flag_of_a_command_is_refused_with_the_new_one() {
        for (command, old, new) in FLAGS {
            let expected = Some(format!("`{old}` is now `{new}`"));
            assert_eq!(message(&format!("{command} {old} 1")), expected);
            assert_eq!(message(&format!("{command} x {old}=1")), expected);
            assert_eq!(message(&format!("fly {old}")), None);
            assert_eq!(message(&format!("{command} {new} -- {old}")), None);
        }
        assert_eq!(message(""), None);
    }
}
