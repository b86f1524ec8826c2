//! How a section of the file is declared whose keys are just the fields of its settings.

/// Declares a section whose keys are just the fields of its settings, such as
/// `weak_percent: f64 = 60, number(10.0..=70.0), "What the schema says.";`, and which of them must be below which. The
/// comment of a field is that of its key.
macro_rules! section {
    (
        $(#[doc = $section_about:literal])*
        pub struct $section:ident {
            $(
                $(#[doc = $line:literal])*
                $name:ident: $type:ty = $shown:tt, $kind:expr $(, $about:literal)?;
            )*
        }
        $($low:ident < $high:ident;)*
    ) => {
        $(#[doc = $section_about])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $section {
            $(
                $(#[doc = $line])*
                $(#[doc = $about])?
                pub $name: $type,
            )*
        }

        impl $section {
            pub(super) fn read(file: &mut $crate::reader::Section, name: &'static str) -> Self {
                file.section(name, concat!($($section_about),*), |section| {
                    $(
                        let $name = section.given(key!($(#[doc = $line])* $name = $shown, $kind $(, $about)?));
                    )*
                    $(section.below(&$low, &$high);)*
                    $section { $($name: $name.value),* }
                })
            }
        }
    };
}

pub(crate) use section;
