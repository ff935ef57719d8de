//! A command as one line of text, and back.

/// The arguments of this run as one line, without the options named (each with the value that follows it) and without
/// how the answer was shown.
pub fn of_this_run(without: &[&str]) -> String {
    let mut out = "slantpath".to_string();
    let mut skip = false;
    for word in std::env::args_os().skip(1) {
        let word = word.to_string_lossy();
        let name = word.split('=').next().unwrap_or_default();
        if std::mem::take(&mut skip) || matches!(&*word, "--json" | "--plain") {
            continue;
        }
        if without.contains(&name) {
            skip = !word.contains('=');
            continue;
        }
        out.push(' ');
        out.push_str(&quoted(&word));
    }
    out
}

fn quoted(word: &str) -> String {
    let bare = |c: char| c.is_ascii_alphanumeric() || "_./:=+,-@".contains(c);
    if !word.is_empty() && word.chars().all(bare) {
        return word.to_string();
    }
    format!("\"{}\"", word.replace('\\', "\\\\").replace('"', "\\\""))
}

/// The words of a line: separated by spaces, or in double quotes, where a backslash takes the next character as it is.
pub fn words(line: &str) -> Vec<String> {
    let (mut out, mut word, mut inside, mut any) = (Vec::new(), String::new(), false, false);
    let mut chars = line.chars();
    while let Some(c) = chars.next() {
        match c {
            '"' => {
                inside = !inside;
                any = true;
            }
            '\\' if inside => word.extend(chars.next()),
            ' ' if !inside => {
                if any || !word.is_empty() {
                    out.push(std::mem::take(&mut word));
                }
                any = false;
            }
            c => word.push(c),
        }
    }
    if any || !word.is_empty() {
        out.push(word);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_survive_the_line() {
        let all = [
            "a",
            "",
            "with space",
            "q\"uo\\te",
            "--at",
            "2026-03-01T12:00:00Z",
            "ä",
        ];
        let line: Vec<String> = all.iter().map(|w| quoted(w)).collect();
        assert_eq!(words(&line.join(" ")), all);
    }
}
