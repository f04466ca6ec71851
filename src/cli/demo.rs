//! `tapline demo`: a simulated bench in an invented clinic, through to sealed records.
//!
//! Three processes, as on a real bench: the bench with its instruments, the station, and this
//! one, in which a person looks at the station's page and acts.

mod hands;
mod house;
mod play;
mod table;

use std::path::Path;

use tapline_demo::clinic;
use tapline_demo::scene::Scene;

use super::args::Demo;
use super::{Exit, Trouble, output};
use house::House;

/// Runs the bench's own process: what `demo` starts behind the scenes.
pub(super) fn bench(args: Vec<String>) -> Exit {
    match tapline_demo::bench::main(args) {
        Ok(()) => Exit::Done,
        Err(text) => output::trouble(&Trouble::Said(text)),
    }
}

/// Plays the scenes; the exit is 0 when every one came to what it expects.
pub(super) fn demo(demo: &Demo) -> Result<Exit, Trouble> {
    let scenes = scenes(demo.scene.as_deref())?;
    let folder = match &demo.folder {
        Some(folder) => folder.clone(),
        None => std::env::temp_dir().join(format!("tapline-demo-{}", std::process::id())),
    };
    let runtime = super::client::runtime()?;
    runtime.block_on(async {
        let mut house = House::open(&folder, &scenes[0].1, demo.page).await?;
        house.stock().await?;
        if demo.page {
            output::talk(&format!("The page is at {}", house.page().await?));
        }
        let mut played = Vec::new();
        for (text, scene) in &scenes {
            played.push(house.play(text, scene).await?);
        }
        house.quiet().await;
        table::print(&played, house.data())?;
        if !demo.once {
            say_where(&house);
            house.stay().await;
        }
        let right = played.iter().all(play::Played::as_expected);
        Ok(if right { Exit::Done } else { Exit::Fail })
    })
}

fn say_where(house: &House) {
    let socket = house.socket();
    output::talk(&format!(
        "\nThe station stays up. In another terminal: export TAPLINE_SOCKET={}\n\
         then `tapline status`, `tapline tail`, `tapline show ID`. Ctrl-C ends it.",
        socket.display()
    ));
}

/// Text and meaning of the scenes to be played.
fn scenes(named: Option<&str>) -> Result<Vec<(String, Scene)>, Trouble> {
    let texts: Vec<String> = match named {
        None => clinic::SCENES.iter().map(|(_, text)| (*text).to_owned()).collect(),
        Some(name) => vec![text(name)?],
    };
    texts.into_iter().map(|text| read(&text).map(|scene| (text, scene))).collect()
}

/// A scene by its name, or a file.
fn text(name: &str) -> Result<String, Trouble> {
    if let Some(text) = clinic::scene(name) {
        return Ok(text.to_owned());
    }
    if Path::new(name).is_file() {
        return super::offline::text(Path::new(name));
    }
    let all = clinic::SCENES.iter().chain(&clinic::WHOLE).chain(&clinic::MISTAKES);
    let all = all.map(|(name, _)| *name);
    let all: Vec<&str> = all.collect();
    Err(Trouble::Said(format!("no scene `{name}`\n  next: one of {}, or a file", all.join(", "))))
}

fn read(text: &str) -> Result<Scene, Trouble> {
    Scene::parse(text).map_err(|faults| {
        let lines: Vec<String> = faults.iter().map(|fault| format!("\n  {fault}")).collect();
        Trouble::Said(format!("the scene can't be played:{}", lines.concat()))
    })
}
