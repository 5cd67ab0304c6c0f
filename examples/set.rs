//! Sets a Typst file with the built-in fonts (development aid, not committed).
use std::collections::BTreeMap;
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Feature, Library, LibraryExt, World, WorldExt};

struct W {
    lib: LazyHash<Library>,
    fonts: typst_kit::fonts::FontStore,
    main: FileId,
    root: std::path::PathBuf,
    cache: std::sync::Mutex<BTreeMap<String, Bytes>>,
}
impl World for W {
    fn library(&self) -> &LazyHash<Library> {
        &self.lib
    }
    fn book(&self) -> &LazyHash<FontBook> {
        self.fonts.book()
    }
    fn main(&self) -> FileId {
        self.main
    }
    fn source(&self, id: FileId) -> FileResult<Source> {
        let b = self.file(id)?;
        Ok(Source::new(id, String::from_utf8(b.to_vec()).unwrap()))
    }
    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let p = id.vpath().get_without_slash().to_string();
        let data = std::fs::read(self.root.join(&p)).map_err(|_| FileError::NotFound(p.clone().into()))?;
        let _ = &self.cache;
        Ok(Bytes::new(data))
    }
    fn font(&self, i: usize) -> Option<Font> {
        self.fonts.font(i)
    }
    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let path = std::path::Path::new(&a[1]);
    let mut fonts = typst_kit::fonts::FontStore::new();
    fonts.extend(typst_kit::fonts::embedded());
    let id = RootedPath::new(
        VirtualRoot::Project,
        VirtualPath::new(path.file_name().unwrap().to_str().unwrap()).unwrap(),
    )
    .intern();
    let w = W {
        lib: LazyHash::new(
            Library::builder().with_features([Feature::A11yExtras].into_iter().collect()).build(),
        ),
        fonts,
        main: id,
        root: path.parent().unwrap().to_path_buf(),
        cache: Default::default(),
    };
    let t = std::time::Instant::now();
    let r = typst::compile::<typst_layout::PagedDocument>(&w);
    for d in &r.warnings {
        eprintln!(
            "warning: {} {:?} {:?}",
            d.message,
            w.range(d.span),
            d.hints.iter().map(|h| h.v.clone()).collect::<Vec<_>>()
        );
    }
    let doc = match r.output {
        Ok(d) => d,
        Err(es) => {
            for d in es {
                eprintln!(
                    "error: {} {:?} {:?} {:?}",
                    d.message,
                    d.span.id(),
                    w.range(d.span).map(|r| {
                        let s = w.source(d.span.id().unwrap()).unwrap();
                        let l = s.lines().byte_to_line(r.start);
                        (l.map(|x| x + 1), s.text()[r].to_string())
                    }),
                    d.hints.iter().map(|h| h.v.clone()).collect::<Vec<_>>()
                );
            }
            std::process::exit(1)
        }
    };
    eprintln!("layout {:?}", t.elapsed());
    let t = std::time::Instant::now();
    let o = typst_pdf::PdfOptions {
        ident: Smart::Custom("x".into()),
        standards: typst_pdf::PdfStandards::new(&[
            typst_pdf::PdfStandard::A_3a,
            typst_pdf::PdfStandard::Ua_1,
        ])
        .unwrap(),
        pretty: a.len() > 3,
        ..Default::default()
    };
    match typst_pdf::pdf(&doc, &o) {
        Ok(b) => std::fs::write(&a[2], b).unwrap(),
        Err(es) => {
            for d in es {
                eprintln!(
                    "pdf error: {} {:?} {:?} {:?}",
                    d.message,
                    d.span.id(),
                    w.range(d.span),
                    d.hints.iter().map(|h| h.v.clone()).collect::<Vec<_>>()
                );
            }
            std::process::exit(1)
        }
    }
    eprintln!("pdf {:?}", t.elapsed());
}
