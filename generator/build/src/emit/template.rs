//! The template engine as it is used here: undefined names are errors, lines of tags leave no blank lines.

use minijinja::syntax::SyntaxConfig;
use minijinja::{AutoEscape, Environment, UndefinedBehavior, Value, filters};

/// Fills a template that is part of this program; `escape` says what the result is. Those that it includes are given by name and text.
pub fn render(
    template: &str,
    included: &[(&'static str, &'static str)],
    context: Value,
    escape: AutoEscape,
) -> String {
    // OK because these settings, the template and the names in the context are all fixed when this is compiled; the
    // tests render each template.
    let syntax = SyntaxConfig::builder()
        .trim_blocks(true)
        .lstrip_blocks(true)
        .keep_trailing_newline(true)
        .build()
        .expect("the delimiters are the usual ones");
    // With these filters and no others: what is not asked for need not be in a page.
    let mut environment = Environment::empty();
    environment.add_filter("batch", filters::batch);
    environment.add_filter("join", filters::join);
    environment.add_filter("length", filters::length);
    environment.add_filter("safe", filters::safe);
    environment.set_syntax(syntax);
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(move |_| escape.clone());
    for (name, text) in included {
        environment
            .add_template(name, text)
            .expect("the included template is a template");
    }
    environment
        .render_str(template, context)
        .expect("the template fits its context")
}

#[cfg(test)]
mod tests {
    use super::*;
    use minijinja::context;

    #[test]
    #[should_panic(expected = "the template fits its context")]
    fn an_undefined_name_is_an_error() {
        render("{{ missing }}", &[], context! {}, AutoEscape::None);
    }

    #[test]
    fn what_is_asked_for_is_escaped_and_the_last_newline_stays() {
        let text = |escape| render("{{ text }}\n", &[], context! { text => "<&>" }, escape);
        assert_eq!(text(AutoEscape::None), "<&>\n");
        assert_eq!(text(AutoEscape::Html), "&lt;&amp;&gt;\n");
    }
}
